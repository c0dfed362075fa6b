package stats_test

import (
	"fmt"
	"log"

	"pushback/analysis/stats"
)

// A line through readings of which one is an outlier.
func ExampleHuber() {
	var x [][]float64
	var y []float64
	for i := range 10 {
		x = append(x, []float64{1, float64(i)})
		y = append(y, 2+0.5*float64(i)+0.01*float64(i%3-1))
	}
	y[9] = 40
	f, err := stats.Huber(x, y, 0)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.1f + %.1f x\n", f.Coef[0], f.Coef[1])
	// Output: 2.0 + 0.5 x
}

func ExampleQuantile() {
	v := []float64{4, 1, 3, 2}
	fmt.Println(stats.Quantile(v, 0.25), stats.Median(v))
	// Output: 1.75 2.5
}

// Of three looks at chance, one is rare enough to count when all three are looked at together.
func ExampleHolm() {
	fmt.Println(stats.Holm([]float64{0.04, 0.01, 0.5}, 0.05))
	// Output: [false true false]
}

// A level that begins to rise at 4 s.
func ExampleFitHinge() {
	t := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8}
	y := []float64{2, 2, 2, 2, 2, 4, 6, 8, 10}
	h, ok := stats.FitHinge(t, y, 0, 8, 0.95, 0.01)
	fmt.Printf("%v: from %.1f s on by %.1f a second\n", ok, h.Onset, h.Slope)
	// Output: true: from 4.0 s on by 2.0 a second
}

// A shift of one standard deviation, looked for in 100 values, with one false alarm in a thousand.
func ExampleCUSUM() {
	c := stats.CUSUM{K: 0.5, H: stats.AlarmLimit(0.5, 100, 0.001)}
	for i := 1; ; i++ {
		if c.Add(1) {
			fmt.Printf("above %.1f after %d values\n", c.H, i)
			return
		}
	}
	// Output: above 9.7 after 20 values
}

// The level at which a t-value of 2.5 with 10 degrees of freedom just counts.
func ExampleStudentP() {
	fmt.Printf("%.3f\n", stats.StudentP(2.5, 10))
	// Output: 0.031
}

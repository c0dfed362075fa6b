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

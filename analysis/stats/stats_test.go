package stats

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// table reads the numbers of a file that testdata/golden.R wrote.
func table(t testing.TB, name string) [][]float64 {
	t.Helper()
	var out [][]float64
	for _, row := range text(t, name) {
		v := make([]float64, len(row))
		for i := range row {
			var err error
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, v)
	}
	return out
}

func text(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %.10g, want %.10g", what, got, want)
	}
}

// R 4.2.2 with MASS 7.3-58.2, sandwich 3.0-2 and boot on the same data; see
// testdata/golden.R.
func TestAgainstR(t *testing.T) {
	var x [][]float64
	var y []float64
	for _, r := range table(t, "map.csv") {
		x, y = append(x, []float64{1, 1 / r[0], r[0]}), append(y, r[1])
	}
	fits := map[string]Fit{}
	for _, lag := range []int{0, 4, 12} {
		for name, fit := range map[string]func([][]float64, []float64, int) (Fit, error){"rlm": Huber, "ols": ols} {
			f, err := fit(x, y, lag)
			if err != nil {
				t.Fatal(err)
			}
			fits[fmt.Sprintf("%s %d", name, lag)] = f
		}
	}
	checked := 0
	for _, row := range text(t, "golden.csv") {
		want, _ := strconv.ParseFloat(row[1], 64)
		f := strings.Fields(row[0])
		checked++
		switch {
		case f[0] == "qt":
			p, _ := strconv.ParseFloat(f[1], 64)
			df, _ := strconv.ParseFloat(f[2], 64)
			near(t, row[0], StudentQuantile(p, df), want, 2e-4)
		case f[0] == "tsboot":
			v := table(t, f[1]+".csv")
			y, group := make([]float64, len(v)), make([]int, len(v))
			for i := range v {
				y[i] = v[i][0]
			}
			l, _ := strconv.Atoi(f[2])
			means := BlockMeans(group, y, 1, l, 20000, 1)
			flat := make([]float64, len(means))
			for i := range means {
				flat[i] = means[i][0]
			}
			// Both have drawn 20000: their errors are 0.5 % each.
			near(t, row[0], SD(flat), want, 0.025)
		case f[1] == "scale":
			near(t, row[0], fits["rlm 0"].Scale, want, 1e-6)
		case f[1] == "coef":
			i, _ := strconv.Atoi(f[2])
			near(t, row[0], fits[f[0]+" 0"].Coef[i], want, 1e-6)
		default:
			i, _ := strconv.Atoi(f[3])
			near(t, row[0], fits[f[0]+" "+strings.TrimPrefix(f[1], "nw")].SE(i), want, 1e-6)
		}
	}
	if checked < 45 {
		t.Errorf("only %d values compared", checked)
	}
}

// NumPy 1.24 and SciPy 1.10 on the same data, by other ways than ours: least squares by
// singular values, Huber's estimate by minimizing his loss, the ordinary bootstrap as the
// block bootstrap of single readings; see testdata/golden.py.
func TestAgainstSciPy(t *testing.T) {
	data := map[string][]float64{}
	for name, column := range map[string]int{"LakeHuron": 0, "Nile": 0, "map": 1} {
		for _, r := range table(t, name+".csv") {
			data[name] = append(data[name], r[column])
		}
	}
	var x [][]float64
	for _, r := range table(t, "map.csv") {
		x = append(x, []float64{1, 1 / r[0], r[0]})
	}
	ols, err1 := ols(x, data["map"], 0)
	huber, err2 := Huber(x, data["map"], 0)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	means := map[string][]float64{}
	for _, name := range []string{"LakeHuron", "Nile"} {
		y := data[name]
		for _, m := range BlockMeans(make([]int, len(y)), y, 1, 1, 100000, 1) {
			means[name] = append(means[name], m[0])
		}
	}
	checked := 0
	for _, row := range text(t, "scipy.csv") {
		f := append(strings.Fields(row[0]), "", "")
		number := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		got, relative := math.NaN(), 1e-9
		switch f[0] {
		case "quantile":
			got = Quantile(slices.Clone(data[f[1]]), number(f[2]))
		case "sd":
			got = SD(data[f[1]])
		case "normal":
			if number(f[1]) == 0.5 {
				if normalQuantile(0.5) != 0 {
					t.Error("the normal median is not 0")
				}
				checked++
				continue
			}
			got = normalQuantile(number(f[1]))
		case "p":
			got, relative = StudentP(number(f[1]), number(f[2])), 1e-3
		case "ols":
			got = ols.Coef[int(number(f[1]))]
		case "huber":
			if got, relative = huber.Scale, 1e-7; f[1] != "scale" {
				got = huber.Coef[int(number(f[1]))]
			}
		case "bootstrap": // both have drawn 100000
			switch v := means[f[1]]; f[2] {
			case "se":
				got, relative = SD(v), 0.01
			case "lo", "hi":
				se := SD(v)
				got = Quantile(slices.Clone(v), map[string]float64{"lo": 0.025, "hi": 0.975}[f[2]])
				relative = 0.03 * se / number(row[1])
			}
		}
		near(t, row[0], got, number(row[1]), relative)
		checked++
	}
	if checked < 60 {
		t.Errorf("only %d values compared", checked)
	}
}

// NIST Statistical Reference Datasets, univariate: NumAcc1 to NumAcc4 (means that leave
// fewer and fewer digits) and Michelso, certified standard deviations.
func TestNISTUnivariate(t *testing.T) {
	for _, tt := range []struct {
		name     string
		first    float64
		low      float64
		relative float64
	}{
		{"NumAcc2", 1.2, 1.1, 1e-14},
		{"NumAcc3", 1000000.2, 1000000.1, 1e-8},
		{"NumAcc4", 10000000.2, 10000000.1, 1e-7},
	} {
		v := []float64{tt.first}
		for range 500 {
			v = append(v, tt.low, tt.low+0.2)
		}
		near(t, tt.name, SD(v), 0.1, tt.relative)
	}
	near(t, "NumAcc1", SD([]float64{10000001, 10000003, 10000002}), 1, 1e-15)
	var speeds []float64
	for _, r := range table(t, "michelso.csv") {
		speeds = append(speeds, r[0])
	}
	near(t, "Michelso", SD(speeds), 0.0790105478190518, 1e-12)
}

// NIST Statistical Reference Datasets, linear regression: Norris (lower difficulty) and
// Longley (higher), certified values.
func TestNIST(t *testing.T) {
	var x [][]float64
	var y []float64
	nx := []float64{.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777, 558.2, .4, .6, 775.5, 666.9, 338, 447.5, 11.6, 556, 228.1, 995.8, 887.6, 120.2, .3, .3, 556.8, 339.1, 887.2, 999, 779, 11.1, 118.3, 229.2, 669.1, 448.9, .5}
	y = []float64{.1, 338.8, 118.1, 888, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3, .1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998, 888.8, 119.6, .3, .6, 557.6, 339.3, 888, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2}
	for _, v := range nx {
		x = append(x, []float64{1, v})
	}
	f, err := ols(x, y, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Norris b0", f.Coef[0], -0.262323073774029, 1e-11)
	near(t, "Norris b1", f.Coef[1], 1.00211681802045, 1e-13)

	x, y = nil, nil
	for _, r := range table(t, "longley.csv") {
		x, y = append(x, append([]float64{1}, r[:6]...)), append(y, r[6])
	}
	if f, err = ols(x, y, 0); err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717359, -0.0511041056535807, 1829.15146461355} {
		near(t, fmt.Sprint("Longley b", i), f.Coef[i], want, 1e-9)
	}
}

// NIST's Wampler1 and Wampler2 (higher difficulty): polynomials of degree five without
// noise, coefficients 1 and 10^-i exactly.
func TestNISTWampler(t *testing.T) {
	for n, base := range []float64{1, 0.1} {
		var x [][]float64
		var y []float64
		for v := range 21 {
			row, sum, p, c := make([]float64, 6), 0.0, 1.0, 1.0
			for i := range row {
				row[i] = p
				sum += c * p
				p, c = p*float64(v), c*base
			}
			x, y = append(x, row), append(y, sum)
		}
		f, err := ols(x, y, 0)
		if err != nil {
			t.Fatal(err)
		}
		for i, b := range f.Coef {
			near(t, fmt.Sprintf("Wampler%d b%d", n+1, i), b, math.Pow(base, float64(i)), 1e-7)
		}
	}
}

// LakeHuron and Nile, the mean with Newey-West errors, by R 4.2.2 and sandwich 3.0-2.
func TestNeweyWestOfMean(t *testing.T) {
	for _, tt := range []struct {
		name string
		lag  int
		se   float64
	}{{"LakeHuron", 3, 0.2327753}, {"LakeHuron", 4, 0.2505997}, {"LakeHuron", 9, 0.3086965}, {"Nile", 4, 27.23848}} {
		var x [][]float64
		var y []float64
		for _, r := range table(t, tt.name+".csv") {
			x, y = append(x, []float64{1}), append(y, r[0])
		}
		f, err := ols(x, y, tt.lag)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprint(tt.name, tt.lag), f.SE(0), tt.se, 1e-6)
	}
}

// Holm's procedure by hand: of 0.01, 0.04, 0.03, 0.005 at 5 % only 0.005 (< 0.0125) and
// 0.01 (< 0.0167) are rejected; 0.03 is above 0.025 and stops it.
func TestHolm(t *testing.T) {
	if got := fmt.Sprint(Holm([]float64{0.01, 0.04, 0.03, 0.005}, 0.05)); got != "[true false false true]" {
		t.Error(got)
	}
	if got := fmt.Sprint(Holm([]float64{math.NaN(), 0.001}, 0.05)); got != "[false true]" {
		t.Error(got)
	}
	for _, tt := range []struct{ t, df, p float64 }{{2.570582, 5, 0.05}, {2.008559, 50, 0.05}, {3.5, 12, 0.00438187}} { // tables of Student's t; the last by R's pt
		near(t, "p", StudentP(tt.t, tt.df), tt.p, 1e-3)
	}
}

// What 95 % intervals promise, on noise whose neighbours follow each other (0.8 from
// reading to reading) and on a map with outliers.
func TestIntervalsCover(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of trials")
	}
	rng := rand.New(rand.NewPCG(3, 4))
	const trials = 400
	held, naive := 0, 0
	for range trials {
		var x [][]float64
		var y []float64
		e, flow := 0.0, 10.0
		for range 300 {
			e = 0.8*e + rng.NormFloat64()
			flow = min(max(flow+1.5*rng.NormFloat64(), 3), 23) // driven slowly up and down
			v := 20/flow + 1 + e
			if rng.Float64() < 0.03 {
				v += 20
			}
			x, y = append(x, []float64{1, 1 / flow, flow}), append(y, v)
		}
		truth := 20.0/5 + 1
		for _, lag := range []int{0, 40} {
			f, err := Huber(x, y, lag)
			if err != nil {
				t.Fatal(err)
			}
			if v, se := f.Predict([]float64{1, 0.2, 5}); math.Abs(v-truth) <= f.T(0.95)*se+0.15 { // the outliers' remaining pull
				if lag == 0 {
					naive++
				} else {
					held++
				}
			}
		}
	}
	if held < trials*91/100 {
		t.Errorf("95 %% intervals held the truth %d times in %d", held, trials)
	}
	if naive > trials*85/100 {
		t.Errorf("intervals without the lag held it %d times in %d: the test does not test", naive, trials)
	}
}

func TestSingular(t *testing.T) {
	if _, err := Huber([][]float64{{1, 2}, {1, 2}, {1, 2}}, []float64{1, 2, 3}, 0); err == nil {
		t.Error("columns that are the same were fitted")
	}
	if _, err := Huber(nil, nil, 0); err == nil {
		t.Error("nothing was fitted")
	}
}

// What is found stands where sorting would put it, equal and ordered values among them.
func TestFind(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 40), func(i int) float64 { return float64(i) / 8 }), 1, 300).Draw(t, "values")
		switch rapid.IntRange(0, 2).Draw(t, "order") {
		case 1:
			slices.Sort(v)
		case 2:
			slices.Sort(v)
			slices.Reverse(v)
		}
		sorted := slices.Sorted(slices.Values(v))
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		find(v, k)
		if v[k] != sorted[k] || slices.Max(v[:k+1]) > v[k] || slices.Min(v[k:]) < v[k] {
			t.Errorf("at %d stands %v, want %v: %v", k, v[k], sorted[k], v)
		}
		if slices.Sort(v); !slices.Equal(v, sorted) {
			t.Errorf("%v is not %v in another order", v, sorted)
		}
	})
}

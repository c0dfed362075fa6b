// Command bench measures the dialogue with the adapter on simulated cars, beside what
// the bus allows and what a plain client reaches, and prints the tables.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
)

func main() {
	n := flag.Int("n", 1_000_000, "exchanges over a damaged line; 0: none")
	only := flag.String("only", "", "one table: speed, first, integrity or recovery")
	of := flag.String("of", "", "integrity: only the setups whose name holds this")
	flag.Parse()

	ctx := context.Background()
	for _, table := range []struct {
		name  string
		print func(context.Context) error
	}{
		{"speed", speedTable},
		{"first", firstTable},
		{"recovery", recoveryTable},
		{"integrity", func(ctx context.Context) error { return integrityTable(ctx, *n, *of) }},
	} {
		if *only != "" && *only != table.name {
			continue
		}
		if err := table.print(ctx); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
		fmt.Println()
	}
}

// grid prints rows in columns, the first flush left.
func grid(rows [][]string) {
	var widths []int
	for _, r := range rows {
		for i, c := range r {
			if i == len(widths) {
				widths = append(widths, 0)
			}
			widths[i] = max(widths[i], len([]rune(c)))
		}
	}
	for _, r := range rows {
		var line strings.Builder
		for i, c := range r {
			pad := strings.Repeat(" ", widths[i]-len([]rune(c)))
			if i == 0 {
				line.WriteString(c + pad)
			} else {
				line.WriteString("  " + pad + c)
			}
		}
		fmt.Println(strings.TrimRight(line.String(), " "))
	}
}

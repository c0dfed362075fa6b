//go:build !race

package accuracy

const lighter = 1

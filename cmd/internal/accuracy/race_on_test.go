//go:build race

package accuracy

// The race detector makes a trial some twenty times as long: fewer of them then.
const lighter = 8

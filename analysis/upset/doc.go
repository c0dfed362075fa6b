// Package upset finds what disturbed the mixture of a closed loop, from a switching sensor's reading and the trim beside it.
//
// It needs no model of the computer: trim is read, whatever made it, a loop's swing beyond its rest too. The reading tells on which
// side of balance the mixture lies, and that is
//
//	trim a lag ago − trim in balance + disturbance + noise.
//
// How the reading goes by the trim is estimated at rest, as an ordered probit (lean, between, rich; P. McCullagh, Journal of the
// Royal Statistical Society B 42, 1980); a disturbance that comes and goes is then weighed as a likelihood ratio over all that was
// read since, for each size, beginning, end and steepness, against none, and against those that a car makes by itself. It is pure.
package upset

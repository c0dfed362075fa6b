// Package unseenwide draws cars with wide-range sensors, technicians who move their mixture, and drives, by seed, with what may
// be said of each. All of it is simulated. It was written from physics and the published texts by someone who had read no code of
// the watcher, of obd/simcar or of the other models; its seeds from 1000 on serve the last figure only, so no single trial of
// them is looked into, and nothing here follows from what the watcher said of it. Those below serve its own tests.
// Ranges without a source are common practice.
//
// # What is drawn
//
// An engine breathes through a throttle and a manifold, idles under a governor, is revved on the stand or drives. A computer
// meters the air by a film or by pressure and speed, with errors, and commands fuel by that, the λ it wants and its trims; some
// of the fuel falls on the wall, the gas travels by cycles and by flow, mixes, and reaches a pumping cell by a maker's table.
// The loop is PI or PID, its target may be dithered, sway or lie beside 1; long-term trim learns by load; the canister is
// purged; a slow loop behind the catalyst shifts the target. The port is CAN or a K-line and tells what is renewed now and then.
//
// # What may be said
//
// Each car is run beside a twin of the same chances whom nobody forces, so an answer is what differs.
//
//   - A force is faint, so that nobody need see it, where φ at the computer's input never left the twin's by 1 % and by one and a
//     half of its spread, in less than 4 s or ten readings, with a dead sensor, or where the loop was not closed before it;
//     unannounced also where only one side is moved, or by less than 3 %, for real mixture moves so by itself.
//     Lifting off is nobody's force.
//   - A side is shown where φ left by 2 % and two spreads, and trim answered by 2 % and one and a half of its own swing. Both
//     sides shown: loop_proven, partly_proven is left open. One: either, for shutting off tests the other flank. None, or trim at
//     its limit before: unclear too. Marks that err make unclear right beside all else.
//   - Skewed: a gain of 0.6 and less or 1.5 and more, with a sensor behind the catalyst that is read, three readings a second
//     and a side shown; else it may stay open, and between 0.6 and 1.5 it may be called proven without being right.
//     A sound sensor's gain lies between 0.9 and 1.1.
//   - An offset cannot be shown from the front alone: all that a sound car may be called is right too.
//   - Slow: a lag of 0.8 s and more at five readings a second, renewed each 0.2 s; else not excluded. Of one way alone,
//     proven is left open.
//   - A dead sensor, or an open pump wire, is unclear as well, since no wire is held; so is undelivered trim that did not move
//     by a tenth or lay at its limit before, and trim that stands in fewer than two forces of 3 % and 8 s.
//   - A single weak injector is a sound loop. Not closed for a fifth of the time before: not_ready.
//   - A cut of 3.5 s shows that the sensor reads lean, and no command: partly_proven; a shorter one may stay open.
//   - A drive is nothing_forced.
//
// A proof is false where it calls a good link failed or a bad one proven; of a link that the test can't tell from its neighbour
// nothing is false.
package unseenwide

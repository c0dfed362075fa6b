// Package heldout draws cars, technicians and drives by seed, with what may be said of each recording. It
// was written from physics and published figures by someone who had read no code of the watcher, of
// obd/simcar or of the other models; its seeds serve the last figure only, so no single trial of it is
// looked into, and nothing here follows from what the watcher said of it. Constants name their source, or
// say "from memory" or "common practice, no source".
//
// # What is drawn
//
// A car is one or two banks: fuel with its film on the port, revolutions and gas until the sensor, a
// zirconia cell by Nernst's law at its temperature, behind a tube and an electrode that lag, loaded by the
// computer's input; a fuel loop of one of five kinds that may give the sensor up, pause, and learn; oxygen
// stored in a catalyst, and a slower cell behind it. Air wanders, loads come and go, the canister is
// purged. A technician holds a wire through some source and some resistance. The port shows registers that
// are refreshed now and then.
//
// # What may be said
//
// The truth is decided from the car and the technician by what they really did, kept twenty times a second.
// The rules, each with where it comes from:
//
//   - A hold is faint, so that nobody need see it, where it took less than 4 s or five readings, where the
//     wire leads to nothing that is read, where a weak source did not bring the input to its side, where
//     the reading had lain there all the time and trim stood, or, unannounced, where it is neither longer
//     nor elsewhere than the sensor's own stays (README: the reading is held where the wire is held).
//   - A side was tested well where trim went 3 % beyond its middle and by nearly what it swings at rest, in
//     a hold of 6 s and six readings or more with the status at 02 throughout, and where after the release
//     the sensor said what trim had made, beyond 0.75 or 0.25 V (a hot cell reads no more: 0.78 V at 900 °C
//     and λ 0.90 by a maker's graph), for half as long again as nine in ten of its own stays (README: "at
//     once, and longer than it ever does by plain switching"), with two or three readings of it. Both sides
//     well: loop_proven and nothing else. One alone: partly_proven, since the other was not tested
//     (README). Else unclear is right too: the data do not decide.
//   - Trim at its limit at rest is no dead loop; a leak in the exhaust is no dead sensor (CHANGELOG).
//   - A dead sensor: sensor_dead; unclear too where a leak would read the same (only lean is read), where
//     it lies at the open level (the branch may be open), or where no sensor behind the catalyst
//     contradicts it for 5 s (README).
//   - no_command wants two silent holds 30 s apart (purge or learning pauses trim for 10 to 20 s), or
//     unclear is as right; a computer that has given a bad sensor up may be told silent too. A command that
//     lacks one way may be told or left open (CHANGELOG).
//   - no_delivery wants a sensor behind the catalyst, and 3 g of oxygen, more than any catalyst stores.
//   - A dead input wants a technician who said the right thing at the right time; else nothing was to be
//     seen.
//   - A slow sensor shows from a lag of 0.8 s on at five readings a second and a quick port; below it is
//     not excluded (README).
//   - wrong_bank where the sensors' wires are swapped, or the other bank's wire was held alone; not where
//     the right one was held afterwards.
//   - not_ready where the status was not 02 for a fifth of the time before the first hold, or the engine is
//     cold.
//
// With a wide-range sensor the mixture is moved, or the throttle lifted. A car is run beside a twin of the
// same chances whom nobody forces, so that an answer is what differs. Rules beside those above:
//
//   - A move is faint where λ never left its twin's by 1 % and by one and a half of its own spread, at
//     under 4 s or ten readings, or with a dead or cold sensor; unannounced also where only one side is
//     moved, or by less than 3 % (purge reads the same: README of accuracy). Fuel cuts are nobody's force: all are
//     faint.
//   - A side was tested well where λ left by 1.5 % and trim answered by 2 % and most of its own swing.
//     Since shutting off tests the other flank, one side alone may be called proven in part or in whole.
//   - sensor_skewed for a gain of 0.6 and less, or 1.5 and more, with a rear sensor and three readings a
//     second; else it may stay open. An offset can't be shown from the front alone, so that loop_proven is
//     right as well.
//   - A dead line stays open by mixture, for no wire is held (README).
//   - A fuel cut of 3.5 s proves that the sensor reads lean, and no command: partly_proven; a shorter one
//     may stay open.
//
// A proof is false where it calls a good link failed or a bad one proven (links.go); of a link that the
// test can't tell apart from its neighbour nothing is false.
package heldout

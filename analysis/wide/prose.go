package wide

import (
	"fmt"

	"pushback/analysis"
	"pushback/analysis/limits"
)

// All sentences of the judging of wide-range sensors.

// untested says of each proof what would test it.
var untested = map[analysis.ProofID]string{
	analysis.ProofInput:      "the mixture was not moved",
	analysis.ProofAddsFuel:   "the mixture was not moved lean",
	analysis.ProofCutsFuel:   "the mixture was not moved rich",
	analysis.ProofDelivery:   "trim has not moved far enough to test it",
	analysis.ProofSensorRich: "the mixture was not made rich",
	analysis.ProofSensorLean: "the mixture was not made lean",
	analysis.ProofBank:       "nothing was forced",
	analysis.ProofRecovery:   "nothing was forced and let go",
	analysis.ProofScale:      "a per cent of fuel was not compared with what the sensor made of it",
}

const (
	bankByMixture = "the mixture was moved, which may reach both banks: no wire was held that would tell whose trim answers this sensor"
	sayNoRecovery = "15 s after it was let go the ratio or trim was not yet back where it had been"
	rearMoved     = "the sensor behind the catalyst went where trim had brought the mixture"
	inputOrSensor = "the reading stood still: the sensor, its pump wire, its heater or the computer's circuit"
	wasOpen       = "it was forced while the loop was open: bring the car to the conditions of a test first"
	wasItMoved    = "neither the sensor nor anything behind it took notice: was the mixture really moved, and far enough?"

	nextBelieve   = "believe the sensor: look for the cause of the mixture elsewhere"
	nextTrims     = "read total trim (short plus long) at idle, at 2000 to 2500 rpm and under load: a leak shows at idle, weak supply under load"
	nextCodes     = "check that the test itself has left no code"
	nextFeed      = "feed propane at a warm idle until lambda has gone down by 0.05 or more, for 12 s, and shut it off at once: the onset tests rich, the end tests lean"
	nextShutOff   = "feed propane again for 12 s, shut it off at once, and keep hands off for 20 s: lambda must go lean while trim comes back"
	nextLift      = "bring the warm engine to 2500 rpm, lift off and keep the throttle shut for 3 s or more: lambda must go far lean"
	nextReady     = "bring the car to these conditions and test again"
	nextClosed    = "make sure that the loop was closed all the time"
	nextFrozen    = "check codes: some computers freeze trim while a code is stored"
	nextService   = "check the maker's service information for the conditions under which this computer trims"
	nextPressure  = "measure fuel pressure and volume while trim is high"
	nextInjectors = "check injectors and their drive (balance or current test)"
	nextPump      = "check the sensor's heater, its plug and the pump wire for an open: a sensor whose pump wire is open reads a perfect 1.000 at rest"
	nextReplace   = "then replace the sensor and repeat this test"
	nextWarm      = "repeat at 2000 to 2500 rpm after two minutes: a cold sensor is slow too"
	nextHeater    = "check the heater and its code"
	nextLeak      = "rule out an exhaust leak ahead of either sensor"
	nextReference = "check the sensor's plug and its trimming resistor for water and corrosion"
	nextCut       = "lift off from 2500 rpm for 3 s: a fuel cut must bring lambda far above 1; if it stays, the sensor or its circuit is dead"
	nextMetered   = "feed propane at a known flow, or compare the other bank under the same flow: that tells half of the fuel from half of the sensor"
	nextWait      = "repeat once and keep hands off for " + limits.RestText + " after the end"
	nextRear      = "hold the wire of the narrow sensor behind the catalyst lean for 30 s, no longer, and watch its trim and the upstream lambda: it is slow, and may set a code"
	nextLonger    = "feed propane again, so that lambda goes down by 0.05 or more, for " + limits.HoldText + " and at a steady idle"
)

func richOrLean(rich bool) string {
	if rich {
		return "rich"
	}
	return "lean"
}

func saySensor(rich, onset bool, after float64) string {
	if onset {
		return fmt.Sprintf("lambda went %s %.1f s after the mixture did", richOrLean(rich), max(0, after))
	}
	return fmt.Sprintf("when the feed ended, lambda went %s within %.1f s, as trim had left it", richOrLean(rich), max(0, after))
}

func sayInput(f *force) string {
	return fmt.Sprintf("the reading followed the mixture, by %.1f %%", 100*f.size)
}

func sayNoOvershoot(rich bool, moved float64) string {
	return fmt.Sprintf("when the feed ended trim had left %.0f %%, and lambda did not show %s", 100*moved, richOrLean(rich))
}

func sayAnswer(f *force, moved float64) string {
	verb := "fell"
	if f.side == analysis.Lean {
		verb = "rose"
	}
	return fmt.Sprintf("the mixture was moved %s; trim %s, from %.1f to %.1f s after, by %.1f %%", f.side, verb, f.after[1], f.after[2], 100*moved)
}

func sayBack(f *force, came float64) string {
	verb := "up"
	if f.side == analysis.Lean {
		verb = "down"
	}
	return fmt.Sprintf("when the feed ended, lambda showed what trim had left and trim came back %s by %.1f %%", verb, 100*came)
}

func sayOpened(f *force) string {
	return fmt.Sprintf("the computer left closed loop %.1f s after the mixture was moved, before trim had answered", f.openedAt-f.begin)
}

func saySilentOnce(f *force) string {
	return fmt.Sprintf("lambda was away for %.0f s and trim did not move; once is not enough to say that it never does: repeat it", f.away)
}

func saySilent(n int, waited float64) string {
	return fmt.Sprintf("%d times lambda was away by 0.03 or more, for up to %.0f s, the loop was closed, and trim did not move", n, waited)
}

func sayAtZero(f *force) string {
	return fmt.Sprintf("trim stood at its middle for %.0f s while lambda stayed %s: it goes no further that way, while it answers the other way", f.away, f.side)
}

func sayTooShort(f *force) string {
	return "trim did not move by more than its own hunting: move the mixture further, or for " + limits.HoldText
}

func sayBrought(moved float64) string {
	return fmt.Sprintf("the loop brought lambda back to its command with %.1f %% of trim while the feed went on", 100*moved)
}

func sayOvershoot(f *force, over float64) string {
	return fmt.Sprintf("when the feed ended lambda overshot by %.1f %%: the mixture that trim had made", 100*over)
}

func sayUndelivered(moved, g float64) string {
	return fmt.Sprintf("trim went %.0f %% away and lambda did not follow it (gain %.2f)", 100*moved, g)
}

func sayLittle(moved float64) string {
	return fmt.Sprintf("trim moved by %.1f %% only, too little to tell", 100*moved)
}

func sayHalf(g float64) string {
	return fmt.Sprintf("lambda followed trim in part only (gain %.2f)", g)
}

func sayRecovered(after float64) string {
	return fmt.Sprintf("lambda and trim were back %.1f s after the end", max(0, after))
}

func sayScale(g, low, high float64) string {
	return fmt.Sprintf("1 %% of fuel shows as %.2f %% of ratio (%.2f to %.2f)", g, low, high)
}

func saySkewed(g, low, high float64) string {
	return fmt.Sprintf("1 %% of fuel shows as %.2f %% of ratio (%.2f to %.2f), while the sensor behind the catalyst followed", g, low, high)
}

func sayBetween(g, low, high float64) string {
	return fmt.Sprintf("1 %% of fuel shows as %.2f %% of ratio (%.2f to %.2f): neither sound nor plainly wrong", g, low, high)
}

func sayWhichHalf(g float64, rear bool) string {
	if rear {
		return fmt.Sprintf("1 %% of fuel shows as %.2f %% of ratio: the sensor shows too little, or too little fuel is delivered; the sensor behind the catalyst did not decide", g)
	}
	return fmt.Sprintf("1 %% of fuel shows as %.2f %% of ratio: the sensor shows too little, or too little fuel is delivered", g)
}

func sayOddBank(own, other int, g, h float64) string {
	odd := own
	if abs(h-1) > abs(g-1) {
		odd = other
	}
	return fmt.Sprintf("; bank %d has %.2f under the same flow: bank %d is the odd one", other, h, odd)
}

func abs(x float64) float64 { return max(x, -x) }

func saySlow(tau, low, high float64) string {
	return fmt.Sprintf("; but slowly: its lag is %.2f s (%.2f to %.2f), where a healthy one has 0.05 to 0.10", tau, low, high)
}

func sayDead(side analysis.Side, waited, far float64, rear bool) string {
	what := "the other bank's trim answered"
	if rear {
		what = "the sensor behind the catalyst followed"
	}
	return fmt.Sprintf("the mixture was moved %s for %.0f s and %s, but lambda stayed within %.3f of its rest", side, waited, what, far)
}

const cutUnseen = "the computer cut the fuel and lambda did not move, but no sensor behind the catalyst shows that it really did"

func sayCutFollowed(top float64) string {
	return fmt.Sprintf("the fuel was cut and lambda went to %.2f", top)
}

func sayCutLean(top float64) string { return fmt.Sprintf("in the fuel cut lambda went to %.2f", top) }

func saySlowFlank(s float64) string {
	return fmt.Sprintf("; but slowly: it took %.1f s or more for most of the way", s)
}

func sayCutDead(waited, rear float64) string {
	return fmt.Sprintf("the fuel was cut for %.0f s, the sensor behind the catalyst went to %.2f V, and lambda did not move", waited, rear)
}

func sayContrary(lambda, rear, seconds float64) string {
	return fmt.Sprintf("lambda read %.2f while the sensor behind the catalyst read %.2f V, for %.0f s", lambda, rear, seconds)
}

func sayRearTrim(trim, seconds float64) string {
	return fmt.Sprintf("the trim that the sensor behind the catalyst makes stood at %+.1f %% for %.0f s: it does not believe the upstream one", trim, seconds)
}

const (
	rearNotYet   = "the computer has not asked for more fuel yet: it does so slowly (10 to 60 s) and by 3 to 5 % at the most; hold for 30 s"
	rearNotMoved = "the computer asked for more fuel, and the upstream sensor does not show it clearly: its steps are small"
	rearRich     = "let go, the sensor behind the catalyst itself said rich"
)

func sayRearHeld(level, seconds float64) string {
	return fmt.Sprintf("held at %.2f V for %.0f s", level, seconds)
}

func sayRearAsked(x *rearHold) string {
	return fmt.Sprintf("held lean, the computer asked for %.1f %% more fuel, by %s", x.asked, x.by)
}

func sayRearMoved(x *rearHold) string {
	return fmt.Sprintf("the upstream sensor grew richer by %.1f %%, without any gas", x.moved)
}

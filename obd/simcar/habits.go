package simcar

import "math"

// What computers do besides trimming while a sensor is forced, or for reasons of their own.

// habitSpec is what a computer does of its own accord.
type habitSpec struct {
	pause      float64 // s for which trim rests at zero after a step of the load
	rests      float64 // s between pauses of 10 to 20 s in which trim stands still, on the average; 0: none
	giveUp     float64 // s at one end after which trim is given up, with no word of it; 0: never
	doubt      float64 // s at one end after which the status says 'closed loop, with a fault'; 0: never
	learnsFuel bool    // trim is learned as the fuel's share of alcohol, as after refuelling
}

// letGo is whether the computer still uses a sensor.
type letGo uint8

const (
	usesIt letGo = iota
	gaveUp       // trim goes back and rests until the reading moves
	doubtsIt
)

// sensorUse is what the computer has made of a sensor.
type sensorUse struct {
	letGo      letGo
	oneSided   float64 // s for which the reading has been at one end; below 0: the lean one
	start      float64 // trim when it got there
	doubtUntil float64 // s
}

// mayTrim runs a computer's habits and reports whether the loop moves trim in this tick.
func (k *computer) mayTrim(c *car, b *bankControl, t float64) bool {
	k.watchSensor(b, t)
	switch {
	case b.letGo != usesIt:
		b.stft -= b.stft * tick / (0.3 + tick) // most of the way within a second
		return false
	case b.status != closed || t < k.paused || c.stopped:
		return false
	case k.spec.learnsFuel:
		// E10 to E85 need 34 % more fuel, so that a trim of 1 % is 2.2 points of alcohol.
		k.alcohol = min(max(k.alcohol+0.02*b.stft*2.2*tick, 0), 0.85)
	}
	return true
}

// watchSensor lets go of a sensor that has stood at one end while trim ran, and takes it back
// once it moves.
func (k *computer) watchSensor(b *bankControl, t float64) {
	atEnd := math.Abs(b.up-switchVolts) > 0.3 && (b.status == closed || b.status == closedFault)
	if !atEnd || (b.up > switchVolts) != (b.oneSided > 0) {
		b.oneSided, b.start = 0, b.stft
		if b.letGo == gaveUp {
			b.letGo = usesIt
		}
	}
	if b.letGo == doubtsIt && t > b.doubtUntil {
		b.letGo, b.oneSided, b.start = usesIt, 0, b.stft
	}
	switch {
	case !atEnd:
		return
	case b.up > switchVolts:
		b.oneSided += tick
	default:
		b.oneSided -= tick
	}
	lasted, ran := math.Abs(b.oneSided), math.Abs(b.stft-b.start) > 0.01
	switch {
	case b.letGo != usesIt || !ran:
	case k.spec.giveUp > 0 && lasted > k.spec.giveUp:
		b.letGo = gaveUp
	case k.spec.doubt > 0 && lasted > k.spec.doubt:
		b.letGo, b.doubtUntil = doubtsIt, t+20
	}
}

// rest has trim stand still at times: after a step of the load it is left at zero, and purge
// or learning stop it for longer.
func (k *computer) rest(c *car, t float64) {
	if k.spec.pause > 0 && math.Abs(c.load-k.lastLoad) > 0.12 {
		k.paused = t + k.spec.pause
		for i := range k.bank {
			k.bank[i].stft = 0
		}
	}
	k.lastLoad += (c.load - k.lastLoad) * tick / 0.3
	if k.spec.rests > 0 && t >= k.nextPause {
		if k.nextPause > -1000 && t > 0 {
			k.paused = t + 10 + 10*c.rng.Float64()
		}
		k.nextPause = max(k.paused, t) + k.spec.rests*c.rng.ExpFloat64()
	}
}

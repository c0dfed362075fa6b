package analysis

// raisedFrom is the level of a lean force from which its way to ground is not a good one, V (common
// practice, no source; a good contact reads below 0.05 V).
const raisedFrom = 0.10

// lookForOffset asks of a lean force whether the signal return lies above the computer's ground (0.1 to 0.3 V
// on old harnesses). Then the sensor's own readings lie higher too; a poor contact raises the held level alone.
func (w *Watcher) lookForOffset(f *force) {
	if w.cfg.By == ByMixture || f.side != Lean || f.loose || !f.firm() || f.level < raisedFrom || !f.volts.switching() ||
		f.volts.low < f.level-0.03 || w.offset > 0 {
		return
	}
	w.offset = f.level
	w.lag.swings = swings{} // what was counted was counted from another zero
	v := &w.volts.volts
	for i := v.From(f.volts.from); i < v.Len() && v.At(i).Hi < f.beginLo; i++ {
		p := v.At(i)
		p.V -= w.offset
		w.lag.swings.addVolts(p, w.volts.renewed, w.volts.scatter.half)
	}
	w.lag.swings.broken()
	w.emit(Event{T: f.end, Name: ReturnOffset, Value: f.level})
}

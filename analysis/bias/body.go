package bias

// Body is what a person's body impedes hand to hand, dry, with large contacts, 50/60 Hz:
// not exceeded by 5, 50 and 95 % of people. IEC 479-1, editions of 1984 to 1994 (the
// edition of 2005, IEC 60479-1, differs); wet hands have 10 to 25 % less, a conductive
// liquid down to half. Background only, never a design value.
var Body = []struct {
	Touch        float64 // V
	P5, P50, P95 float64 // Ω
}{
	{25, 1750, 3250, 6100}, {50, 1450, 2625, 4375}, {75, 1250, 2200, 3500}, {100, 1200, 1875, 3200},
	{125, 1125, 1625, 2875}, {220, 1000, 1350, 2125}, {1000, 700, 1050, 1500},
}

// Through is what the wire gets from volts V through ohms Ω, beside a sensor and the
// computer's usual input.
func Through(volts, ohms float64, s Sensor) float64 {
	return node(leg{volts, ohms}, leg{s.EMF, s.Ohms}, leg{0, UsualComputer.Input.Nom}, leg{UsualComputer.PullVolts.Nom, UsualComputer.PullOhms.Nom})
}

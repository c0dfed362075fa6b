package fourth

import (
	"math"
	"time"

	"pushback/obd"
)

// portSpec is how the car is read.
type portSpec struct {
	watched  string
	rate     float64 // readings/s of the watched sensor
	together bool    // several signals in a reply, as on CAN
	jitter   float64 // of the time between readings, as a share
	slow     []string
	each     int        // one slow signal each so many readings, where they come singly
	gap      [2]float64 // nothing came from, to
}

// port makes rows of readings, in the standard's units and steps.
type port struct {
	portSpec
	list  []obd.Record
	next  float64
	count int
	queue []reading // what is under way
}

type reading struct {
	at    float64
	names []string
}

// step reads at t what is due.
func (p *port) step(t float64, src source, reads func(name string) float64) {
	if len(p.queue) == 0 {
		p.plan(src)
	}
	for len(p.queue) > 0 && t >= p.queue[0].at {
		q := p.queue[0]
		p.queue = p.queue[1:]
		if q.at >= p.gap[0] && q.at < p.gap[1] {
			continue
		}
		row := &obd.Row{}
		for _, n := range q.names {
			row.Names, row.Values = append(row.Names, n), append(row.Values, reads(n))
		}
		p.add(t, obd.Record{Row: row})
	}
}

// plan queues the readings of one round.
func (p *port) plan(src source) {
	period := 1 / p.rate * clamp(1+p.jitter*src.NormFloat64(), 0.3, 3)
	at := p.next
	p.next += period
	pair := []string{p.watched, "SHRTFT1"}
	if p.count == 0 || p.together {
		p.queue = append(p.queue, reading{at, append(pair, p.slow...)})
	} else {
		p.queue = append(p.queue, reading{at, pair[:1]}, reading{at + period*0.4, pair[1:]})
		if p.count%p.each == 0 {
			p.queue = append(p.queue, reading{at + period*0.75, []string{p.slow[p.count/p.each%len(p.slow)]}})
		}
	}
	p.count++
}

func (p *port) add(t float64, r obd.Record) {
	r.Seq, r.At = int64(len(p.list)), time.Duration(math.Round(t*1000))*time.Millisecond
	p.list = append(p.list, r)
}

// mark writes what the technician says.
func (p *port) mark(t float64, kind obd.MarkKind) {
	p.add(t, obd.Record{Mark: &obd.Mark{Kind: kind}})
}

// trimByte is a trim as its byte tells it, %.
func trimByte(x float64) float64 { return clamp(math.Round(x*128), -128, 127) / 1.28 }

func voltByte(v float64) float64 { return clamp(math.Round(v*200), 0, 255) / 200 }

// reads returns what the port tells of a signal now.
func (c *car) reads(name string) float64 {
	k := c.brain
	switch name {
	case "O2S11":
		return voltByte(k.told[0].volts)
	case "O2S21":
		return voltByte(k.told[1].volts)
	case "O2S12":
		return voltByte(k.told[0].rear)
	case "SHRTFT1":
		return trimByte(k.told[0].short)
	case "SHRTFT2":
		return trimByte(k.told[1].short)
	case "LONGFT1":
		return trimByte(k.told[0].long)
	case "LONGFT2":
		return trimByte(k.told[1].long)
	case "FUELSYS1":
		return k.status
	case "FUELSYS2":
		if k.single {
			return 0
		}
		return k.status
	case "RPM":
		return math.Round(k.at.rpm*4) / 4
	case "LOAD_PCT":
		return math.Round(k.at.load*255) / 2.55
	case "MAF":
		return math.Round(c.engine[0].airflow(k.at)*float64(c.banks)*100) / 100
	case "VSS":
		return math.Round(c.drive.kmh)
	case "ECT":
		return math.Round(c.coolant)
	}
	panic("fourth: no signal " + name)
}

package obd

import "slices"

// recognise finds the format in which raw answers a request.
func (a *Adapter) recognise(raw []byte, b Bus, req Request, d Dialect) Format {
	if b == BusUnknown {
		return Format{}
	}
	for _, f := range a.formats(b, d) {
		if f.Fits(raw, req) {
			return f
		}
	}
	return Format{}
}

// formats are the ways in which replies on a bus may be printed, the fullest first.
func (a *Adapter) formats(b Bus, d Dialect) (list []Format) {
	for _, f := range []Format{
		{Bus: b, Headers: true, Padded: true, Dialect: d},
		{Bus: b, Headers: true, Dialect: d},
		{Bus: b, Dialect: d},
	} {
		if f.Headers && !a.headers || f.Padded && !b.CAN() {
			continue
		}
		list = append(list, f)
	}
	return list
}

// putOff reports whether a computer has said, in whatever format, that it is busy or answers later: it is there, and is to be asked again.
func (a *Adapter) putOff(raw []byte, b Bus, d Dialect) bool {
	return b != BusUnknown && slices.ContainsFunc(a.formats(b, d), func(f Format) bool {
		replies, o := Parse(raw, f, supported)
		x := Exchange{Replies: replies, Outcome: o}
		return x.Pending()
	})
}

// Fits reports whether raw answers the request in this format. A frame that is full without padding tells nothing of it.
func (f Format) Fits(raw []byte, req Request) bool {
	replies, o := Parse(raw, f, req)
	full := func(r Reply) bool { return len(r.Data) == 7 }
	return o == OK && !(f.Padded && slices.ContainsFunc(replies, full))
}

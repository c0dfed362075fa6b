package decode

// repeats is what some replies gave: a car says the same again and again, and that is not decoded twice. It
// holds until something is learned of the car.
type repeats [256]remembered

// remembered is one reply; one that is too long, or gives too many samples, is none.
type remembered struct {
	from    uint32
	asked   uint8 // length of the request, before the reply in text; 0: none
	length  uint8 // of text
	count   uint8 // of samples
	text    [20]byte
	samples [4]Sample // but for their times
}

// find is where a reply is remembered, or would be, and whether it is; nil: nowhere.
func (m *repeats) find(from uint32, request, data []byte) (*remembered, bool) {
	n := len(request)
	if n+len(data) > len(m[0].text) {
		return nil, false
	}
	hash := from
	for _, b := range request {
		hash = (hash ^ uint32(b)) * 16777619
	}
	for _, b := range data {
		hash = (hash ^ uint32(b)) * 16777619
	}
	r := &m[hash>>24]
	return r, int(r.asked) == n && int(r.length) == n+len(data) && r.from == from && string(r.text[:n]) == string(request) &&
		string(r.text[n:r.length]) == string(data)
}

// keep remembers a reply in place of another.
func (r *remembered) keep(from uint32, request, data []byte, samples []Sample) {
	if r == nil || len(samples) > len(r.samples) {
		return
	}
	r.from, r.asked, r.length, r.count = from, uint8(len(request)), uint8(len(request)+len(data)), uint8(len(samples))
	copy(r.text[copy(r.text[:], request):], data)
	copy(r.samples[:], samples)
}

// forget is for when replies may give something else from now on.
func (d *Decoder) forget() {
	if d.said != nil {
		*d.said = repeats{}
	}
}

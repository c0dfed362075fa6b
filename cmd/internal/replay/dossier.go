package replay

import (
	"context"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/obd"
	"pushback/store"
)

// Dossier judges a stored session again and gathers its dossier; want says what of it takes room
// or time and is wanted. A nil Hash is none: see [Hashed].
func Dossier(ctx context.Context, db *store.Store, ref string, want dossier.Setup) (store.Meta, *dossier.Dossier, error) {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return m, nil, err
	}
	setup, err := session.NewSetup(m.Watching, m.By, m.Format)
	if err != nil {
		return m, nil, err
	}
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return m, nil, err
	}
	defer reader.Close()
	hash := want.Hash
	var also func(obd.Record) error
	if hash != nil {
		also = hash.Add
	}
	records, stop := NewAhead(ctx, reader, also)
	defer stop()
	want.Setup, want.Vehicle, want.Hash = setup, m.Vehicle, nil
	d, err := dossier.Collect(ctx, records, want)
	if err == nil && hash != nil {
		d.Sum = hash.Sum()
	}
	return m, d, err
}

// Hashed wants the hash of the records too.
func Hashed(want dossier.Setup) dossier.Setup {
	content := store.NewContent()
	want.Hash = &content
	return want
}

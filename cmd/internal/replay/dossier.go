package replay

import (
	"context"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/store"
)

// Dossier judges a stored session again and gathers its dossier; want says what of it takes room
// or time and is wanted. A nil Hash is none: see [Hashed].
func Dossier(ctx context.Context, db *store.Store, ref string, want dossier.Setup) (store.Meta, *dossier.Dossier, error) {
	defer pace()()
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
	want.Setup, want.Vehicle = setup, m.Vehicle
	c := dossier.NewCollector(want)
	records, stop := NewAhead(ctx, reader, c.Ahead)
	defer stop()
	res, err := session.Run(ctx, records, c.Judge, c)
	if err != nil {
		return m, nil, err
	}
	return m, c.Dossier(res), nil
}

// Hashed wants the hash of the records too.
func Hashed(want dossier.Setup) dossier.Setup {
	content := store.NewContent()
	want.Hash = &content
	return want
}

package main

import (
	"context"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/replay"
	"pushback/store"
)

const foundUsage = "with --json: before the verdict, also print what the computers reported (codes, freeze frame, monitors, own tests)"

// dossierOf judges a stored session again and gathers its dossier; want says what of it takes room
// or time and is wanted.
func dossierOf(ctx context.Context, db *store.Store, ref string, want dossier.Setup) (store.Meta, *dossier.Dossier, error) {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return m, nil, err
	}
	setup, err := setupOf(m)
	if err != nil {
		return m, nil, err
	}
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return m, nil, err
	}
	defer reader.Close()
	records, stop := replay.NewAhead(ctx, reader)
	defer stop()
	want.Setup, want.Vehicle = setup, m.Vehicle
	d, err := dossier.Collect(ctx, records, want)
	return m, d, err
}

// hashed wants the hash of the records too.
func hashed(want dossier.Setup) dossier.Setup {
	content := store.NewContent()
	want.Hash = &content
	return want
}

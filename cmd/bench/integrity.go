package main

import "context"

func integrityTable(context.Context, int) error { return nil }

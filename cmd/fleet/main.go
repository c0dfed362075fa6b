// Command fleet lays sessions out as Parquet in partitions, month and shop, which engines prune:
//
//	fleet lay -to DIR -shop NAME FILE…   sessions out of what 'pushback export' wrote
//	fleet cars -to DIR -n N              sessions of N simulated cars, by seed, to try the way
//
// DIR/month=2026-03/shop=NAME/part-….parquet holds up to -part sessions in the order in which they
// began; each file is whole before it has its name. judge.py judges them on many workers.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "fleet:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	if len(args) == 0 {
		return errors.New("say lay or cars")
	}
	f := flag.NewFlagSet(args[0], flag.ContinueOnError)
	to := f.String("to", "", "the `FOLDER` of the partitions")
	part := f.Int("part", 50, "sessions in a file at most")
	shop := f.String("shop", "", "lay: `NAME` of the shop that the files come from")
	n := f.Int("n", 10000, "cars: how many sessions")
	from := f.Uint64("from", 1, "cars: the first seed")
	length := f.Duration("for", 20*time.Second, "cars: how long a session is")
	if err := f.Parse(args[1:]); err != nil {
		return err
	}
	if *to == "" || *part < 1 {
		return errors.New("-to is missing, or -part below 1")
	}
	l := &layout{dir: *to, most: *part}
	switch args[0] {
	case "lay":
		if err := l.files(ctx, *shop, f.Args()); err != nil {
			return err
		}
	case "cars":
		if err := l.cars(ctx, *from, *n, *length); err != nil {
			return err
		}
	default:
		return fmt.Errorf("no command %q: lay or cars", args[0])
	}
	return l.close(ctx)
}

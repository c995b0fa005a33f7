package app

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/demo"
)

// DemoToday is the day on which the invented hospital's story stands still:
// the working day before a Monday list, after a holiday.
const DemoToday = "2026-11-27"

// Demo starts everything in a folder of its own, plays the invented hospital
// and prints what was planned. Unless exit is set it stays up until ctx ends.
func Demo(ctx context.Context, cfg Config, exit bool, out io.Writer) (err error) {
	if cfg.Data == "" {
		dir, err := os.MkdirTemp("", "countback-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		cfg.Data = dir
	}
	today := cfg.Today
	begin, err := demo.Begins()
	if err != nil {
		return err
	}
	cfg.Today = begin.Format(time.RFC3339) // the store's clock never goes back
	cfg.ClockCorrected = true              // unless the story is told again in the same folder
	a, err := Start(ctx, cfg, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() {
		if e := a.Close(); err == nil {
			err = e
		}
	}()
	cfg.Today = today
	at, err := cfg.standing(a.Office.Facility().Calendar)
	if err != nil {
		return err
	}
	err = demo.Play(ctx, demo.Options{
		Base: a.URL(), Today: at,
		Stand: a.Clock.Stand, Tick: a.Tick, Published: a.counted, Out: out,
	})
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "\nThis supports licensed judgement and local policy; it does not replace either.")
	if exit {
		return nil
	}
	fmt.Fprintf(out, "\nOpen:\n  %s\n  %s/CarePlan\n  %s/Task?status=requested&_sort=due\n  %s/metrics\n", a.DeskURL(), a.URL(), a.URL(), a.AdminURL())
	if u := a.NATSURL(); u != "" {
		fmt.Fprintf(out, "Follow the events:\n  go run ./services/countback events -nats %s\n", u)
	}
	fmt.Fprintln(out, "Stop with Ctrl-C.")
	return a.Wait(ctx)
}

// counted counts the events in the stream by name, once all are there.
func (a *App) counted(ctx context.Context) (map[string]uint64, error) {
	if err := a.Published(ctx); err != nil {
		return nil, err
	}
	stream, err := a.stream(ctx)
	if err != nil {
		return nil, err
	}
	prefix := "countback.v1." + a.cfg.Facility + "."
	info, err := stream.Info(ctx, jetstream.WithSubjectFilter(prefix+">"))
	if err != nil {
		return nil, err
	}
	out := map[string]uint64{}
	for subject, n := range info.State.Subjects {
		out[strings.TrimPrefix(subject, prefix)] += n
	}
	return out, nil
}

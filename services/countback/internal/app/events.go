package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/outbox"
)

// EventsOptions say which events to follow.
type EventsOptions struct {
	NATS     string // address of the server
	Durable  string // name under which the server keeps the position
	Facility string // token of one facility; empty: all
	Most     int    // leave after so many; 0: never
	Replay   bool   // begin again with the first event that the stream holds
}

// Events follows events as a durable consumer that keeps to the sequence of
// each case, and writes each as one line of JSON. A gap is said on warn.
func Events(ctx context.Context, o EventsOptions, out, warn io.Writer) error {
	// A person who mistyped the address wants to hear so, not to wait.
	conn, err := outbox.Connect(o.NATS, nats.RetryOnFailedConnect(false))
	if err != nil {
		return fmt.Errorf("-nats %s: %w", o.NATS, err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	if o.Replay {
		if err := outbox.Forget(ctx, js, o.Durable); err != nil {
			return fmt.Errorf("-replay: %w", err)
		}
	}
	n := 0
	err = outbox.Consume(ctx, js, outbox.ConsumeOptions{
		Durable: o.Durable, Facility: o.Facility, Log: slog.New(slog.NewTextHandler(warn, nil)),
		Handle: func(e event.Event) error {
			line, err := json.Marshal(e)
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintf(out, "%s\n", line); err != nil {
				return err
			}
			if n++; n == o.Most {
				stop()
			}
			return nil
		},
		Gap: func(caseID string, want, got int64) error {
			fmt.Fprintf(warn, "events %d to %d of CarePlan/%s never came: read the case from the FHIR API\n", want, got-1, caseID)
			return nil
		},
	})
	if ctx.Err() != nil {
		return nil // asked to stop
	}
	return err
}

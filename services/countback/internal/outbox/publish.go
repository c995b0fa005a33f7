package outbox

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// headerRoom is what the headers of a message may take, in bytes.
const headerRoom = 1024

// errRefused marks a failure that belongs to one row for good, unlike those of
// the broker, which pass.
var errRefused = errors.New("the broker will never take this row")

// sent is what came of one batch.
type sent struct {
	marks   []store.Mark
	skipped int   // rows that a refused row of their case holds up, itself included
	err     error // the first failure that is worth another attempt
}

// publish sends rows case by case. The rows of one case go out one after the
// other, each only after the one before was acknowledged, so no failure can
// put a later one first. Different cases go side by side, which lets the
// broker write several messages to disk with one sync.
func (r *Relay) publish(ctx context.Context, rows []store.OutboxRow) sent {
	cases := byCase(rows)
	queue := make(chan []store.OutboxRow, len(cases))
	for _, c := range cases {
		queue <- c
	}
	close(queue)
	var (
		all  sent
		mu   sync.Mutex
		lane sync.WaitGroup
	)
	for range min(r.o.Lanes, len(cases)) {
		lane.Go(func() {
			for c := range queue {
				one := r.publishCase(ctx, c)
				mu.Lock()
				all.marks = append(all.marks, one.marks...)
				all.skipped += one.skipped
				all.err = firstError(all.err, one.err)
				mu.Unlock()
				if one.err != nil {
					return // the others would wait for the same broker
				}
			}
		})
	}
	lane.Wait()
	return all
}

func firstError(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

// byCase splits rows by case; within a case they keep their order.
func byCase(rows []store.OutboxRow) [][]store.OutboxRow {
	var cases [][]store.OutboxRow
	place := map[string]int{}
	for _, row := range rows {
		i, known := place[row.CaseID]
		if !known {
			i = len(cases)
			place[row.CaseID] = i
			cases = append(cases, nil)
		}
		cases[i] = append(cases[i], row)
	}
	return cases
}

func (r *Relay) publishCase(ctx context.Context, rows []store.OutboxRow) (s sent) {
	for i, row := range rows {
		ack, err := r.send(ctx, row)
		if errors.Is(err, errRefused) {
			// Only its own case waits behind it; the sequence would have a hole
			// otherwise, and nobody would look for the cause.
			r.report(row, err)
			s.skipped = len(rows) - i
			return s
		}
		if err != nil {
			s.err = fmt.Errorf("publish outbox row %d: %w", row.Seq, err)
			return s
		}
		s.marks = append(s.marks, store.Mark{Seq: row.Seq, StreamSeq: ack.Sequence})
	}
	return s
}

// send publishes one row and waits until JetStream has it.
func (r *Relay) send(ctx context.Context, row store.OutboxRow) (*jetstream.PubAck, error) {
	if err := r.check(row); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, requestLimit)
	defer cancel()
	msg := nats.NewMsg(row.Subject)
	msg.Header.Set("Content-Type", event.ContentType)
	msg.Data = row.Body
	ack, err := r.o.JS.PublishMsg(ctx, msg,
		jetstream.WithMsgID(row.ID),
		jetstream.WithExpectStream(StreamName))
	if isTooLarge(err) {
		return nil, fmt.Errorf("%w: %w", errRefused, err)
	}
	return ack, err
}

func isTooLarge(err error) bool {
	var api *jetstream.APIError
	return errors.Is(err, nats.ErrMaxPayload) ||
		errors.As(err, &api) && api.ErrorCode == jetstream.JSErrCodeStreamMessageExceedsMaximum
}

func (r *Relay) check(row store.OutboxRow) error {
	if _, _, err := event.ParseSubject(row.Subject); err != nil {
		return fmt.Errorf("%w: %w", errRefused, err)
	}
	if row.ID == "" {
		return fmt.Errorf("%w: it has no id", errRefused)
	}
	// The limit is 0 as long as the connection was never made.
	if limit := r.o.JS.Conn().MaxPayload(); limit > 0 && int64(len(row.Body)+headerRoom) > limit {
		return fmt.Errorf("%w: longer than the broker allows", errRefused)
	}
	return nil
}

// report tells of a refused row once. Lanes call it side by side.
func (r *Relay) report(row store.OutboxRow, err error) {
	r.mu.Lock()
	known := r.refused[row.Seq]
	r.refused[row.Seq] = true
	r.mu.Unlock()
	if known {
		return
	}
	r.refusals.Add(1)
	r.o.Log.Error("outbox row cannot be published and holds up its case", "seq", row.Seq, "id", row.ID, "error", err)
}

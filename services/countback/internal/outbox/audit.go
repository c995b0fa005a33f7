package outbox

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/store"
)

// auditAge is how far back rows are compared with the stream. Older rows may
// have aged out of the stream rightly; see streamMaxAge.
const auditAge = 7 * 24 * time.Hour

// keepFor is how long a row is kept after it was published: it is the truth that
// an audit compares the stream with, so it outlives the last audit of it by a day.
const keepFor = auditAge + 24*time.Hour

// pruneBatch is how many rows are looked at in one transaction, so that other
// writes do not wait.
const pruneBatch = 500

// Report is what an audit found, in rows.
type Report struct {
	Checked     int // compared with the stream
	Aged        int // published too long ago to be compared
	Moved       int // in the stream, under another sequence than noted; now noted
	Missing     int // not in the stream, or not as they were sent
	Republished int // of the missing: published again with the same id
	// Deferred are missing rows that the broker will not take again yet: it
	// still knows the id as sent although the message is gone. The next audit
	// after the duplicate window publishes them.
	Deferred int
}

// Audit compares every published row of the last seven days with the stream,
// message by message, and publishes again, with the same id, what is not there.
// It asks by sequence and never concludes from silence. It may run beside Run:
// what it publishes late comes after its successors, and consumers that keep to
// the sequence drop it or have read the API. On an error the report tells what
// was done until then.
func (r *Relay) Audit(ctx context.Context) (Report, error) {
	var report Report
	if err := EnsureStream(ctx, r.o.JS); err != nil {
		return report, err
	}
	stream, err := r.o.JS.Stream(ctx, StreamName)
	if err != nil {
		return report, fmt.Errorf("audit: %w", err)
	}
	a := audit{relay: r, stream: stream, since: r.since(stream), report: &report}
	for after := int64(0); ; {
		rows, err := r.o.Rows.Published(ctx, after, r.o.Batch)
		if err != nil {
			return report, fmt.Errorf("audit: read published rows: %w", err)
		}
		if len(rows) == 0 {
			return report, nil
		}
		if err := a.batch(ctx, rows); err != nil {
			return report, fmt.Errorf("audit: %w", err)
		}
		after = rows[len(rows)-1].Seq
	}
}

// Prune deletes the rows that no audit will look at again, a few at a time, and
// says how many. What was never published is never deleted.
func (r *Relay) Prune(ctx context.Context) (int64, error) {
	before := r.o.Now().Add(-keepFor)
	total := int64(0)
	for after := int64(0); ; {
		next, deleted, err := r.o.Rows.Prune(ctx, after, before, pruneBatch)
		total += deleted
		if err != nil || next == 0 {
			return total, err
		}
		after = next
	}
}

// since is the publishing time from which on a message must be in the stream.
func (r *Relay) since(stream jetstream.Stream) time.Time {
	age := auditAge
	if limit := stream.CachedInfo().Config.MaxAge; limit > 0 {
		age = min(age, limit)
	}
	return r.o.Now().Add(-age)
}

type audit struct {
	relay  *Relay
	stream jetstream.Stream
	since  time.Time
	report *Report
	marks  []store.Mark
}

func (a *audit) batch(ctx context.Context, rows []store.OutboxRow) error {
	var failed error
	for _, row := range rows {
		if failed = a.row(ctx, row); failed != nil {
			failed = fmt.Errorf("outbox row %d: %w", row.Seq, failed)
			break
		}
	}
	// What was published again is noted even when a later row failed.
	if len(a.marks) > 0 {
		if err := a.relay.o.Rows.MarkPublished(ctx, a.marks); err != nil {
			return errors.Join(failed, fmt.Errorf("mark rows as published: %w", err))
		}
		a.marks = nil
	}
	return failed
}

func (a *audit) row(ctx context.Context, row store.OutboxRow) error {
	if row.PublishedAt.Before(a.since) {
		a.report.Aged++
		return nil
	}
	a.report.Checked++
	there, err := a.holds(ctx, row, row.StreamSeq)
	if err != nil || there {
		return err
	}
	ack, err := a.relay.send(ctx, row)
	if err != nil {
		a.report.Missing++
		return err
	}
	if !ack.Duplicate {
		a.report.Missing++
		a.report.Republished++
		a.marks = append(a.marks, store.Mark{Seq: row.Seq, StreamSeq: ack.Sequence})
		return nil
	}
	// The broker knows the id: either the message is there under another
	// sequence, or it is gone and only its id is remembered.
	there, err = a.holds(ctx, row, ack.Sequence)
	if err != nil {
		return err
	}
	if there {
		a.report.Moved++
		a.marks = append(a.marks, store.Mark{Seq: row.Seq, StreamSeq: ack.Sequence})
		return nil
	}
	a.report.Missing++
	a.report.Deferred++
	return nil
}

// holds tells whether the stream holds the row's message, as it was sent, at a
// sequence. A stream that was deleted and made again counts from 1 anew, so
// that a message being there proves nothing until its id is compared.
func (a *audit) holds(ctx context.Context, row store.OutboxRow, sequence uint64) (bool, error) {
	if sequence == 0 {
		return false, nil
	}
	ctx, cancel := context.WithTimeout(ctx, requestLimit)
	defer cancel()
	msg, err := a.stream.GetMsg(ctx, sequence)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return msg.Header.Get(nats.MsgIdHdr) == row.ID && bytes.Equal(msg.Data, row.Body), nil
}

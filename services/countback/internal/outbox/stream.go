package outbox

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/event"
)

// StreamName is the JetStream stream that holds every event.
const StreamName = "COUNTBACK"

const (
	// streamMaxAge is how long the stream holds a message. The audit takes a
	// message that is no longer there for a lost one, so none may age out while
	// its row is still compared. A row is compared for auditAge after its mark,
	// and an audit may mark it once more when it finds the message elsewhere:
	// twice auditAge, and a week to spare. Three weeks also let a consumer that
	// was down over a long holiday catch up without reading the whole FHIR API.
	streamMaxAge = 21 * 24 * time.Hour

	// duplicateWindow is how long the broker knows a message id. It only has
	// to cover the usual retry (a restart, a leader election); each id in it
	// costs the broker memory, and consumers are safe without it.
	duplicateWindow = 10 * time.Minute

	// clusterReplicas are the copies in a cluster: the smallest number that
	// survives the loss of one server.
	clusterReplicas = 3

	// electionPause is the time between two attempts while a cluster has no leader.
	electionPause = 250 * time.Millisecond

	// requestLimit bounds a single request to JetStream.
	requestLimit = 5 * time.Second
)

// ErrStream says that a stream named COUNTBACK exists that can never serve:
// its messages are not kept in files, or are deleted when read.
var ErrStream = errors.New("stream COUNTBACK is not fit for events")

// EnsureStream makes the stream exist with what delivery needs: the subjects,
// file storage, an age and a duplicate window that are long enough. An operator
// may have created it with more (replicas, placement, a longer age), and that
// is left alone; size limits should not be set, as they drop messages that the
// audit would then publish again. A cluster that elects a leader answers with
// errors for some seconds, so it tries again until ctx ends; the error is then
// that of the last attempt and that of ctx. ErrStream is returned at once.
func EnsureStream(ctx context.Context, js jetstream.JetStream) error {
	for {
		err := ensureOnce(ctx, js)
		if err == nil || errors.Is(err, ErrStream) {
			return err
		}
		if pause(ctx, electionPause) != nil {
			return fmt.Errorf("prepare stream %s: %w", StreamName, errors.Join(err, ctx.Err()))
		}
	}
}

func ensureOnce(ctx context.Context, js jetstream.JetStream) error {
	ctx, cancel := context.WithTimeout(ctx, requestLimit)
	defer cancel()
	stream, err := js.Stream(ctx, StreamName)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		_, err = js.CreateStream(ctx, newStream(js))
		return err
	}
	if err != nil {
		return err
	}
	config := stream.CachedInfo().Config
	if config.Storage != jetstream.FileStorage || config.Retention != jetstream.LimitsPolicy {
		return ErrStream
	}
	if !widen(&config) {
		return nil
	}
	_, err = js.UpdateStream(ctx, config)
	return err
}

func newStream(js jetstream.JetStream) jetstream.StreamConfig {
	replicas := 1
	if js.Conn().ConnectedClusterName() != "" {
		replicas = clusterReplicas
	}
	return jetstream.StreamConfig{
		Name:        StreamName,
		Description: "Countback: what happens to cases",
		Subjects:    []string{event.SubjectAll},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardOld,
		MaxAge:      streamMaxAge,
		Duplicates:  duplicateWindow,
		Replicas:    replicas,
	}
}

// widen raises what is too small and tells whether anything was.
func widen(c *jetstream.StreamConfig) bool {
	changed := false
	if !slices.Contains(c.Subjects, event.SubjectAll) {
		c.Subjects, changed = append(c.Subjects, event.SubjectAll), true
	}
	if c.MaxAge != 0 && c.MaxAge < streamMaxAge {
		c.MaxAge, changed = streamMaxAge, true
	}
	if c.Duplicates < duplicateWindow {
		c.Duplicates, changed = duplicateWindow, true
	}
	return changed
}

// pause waits for d, or returns the error of ctx if that ends first.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

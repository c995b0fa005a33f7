package outbox

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// Forget gives up the position that the broker keeps under a durable name: the
// next Consume under it begins with the first event that the stream holds. No
// Consume may be running under the name.
func Forget(ctx context.Context, js jetstream.JetStream, durable string) error {
	err := js.DeleteConsumer(ctx, StreamName, durable)
	if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
		return fmt.Errorf("forget the position of %s: %w", durable, err)
	}
	return nil
}

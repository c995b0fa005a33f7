package outbox

import (
	"context"
	"fmt"
	"testing"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// BenchmarkRelay measures rows from committed to marked, over many cases, with
// every message and every mark synced to disk.
func BenchmarkRelay(b *testing.B) {
	s, err := StartServer(ServerOptions{StoreDir: b.TempDir()})
	require.NoError(b, err)
	defer s.Shutdown()
	nc, err := s.Connect()
	require.NoError(b, err)
	defer nc.Close()
	js, err := jetstream.New(nc)
	require.NoError(b, err)
	db, err := store.Open(context.Background(), store.Options{Path: b.TempDir(), Now: clock})
	require.NoError(b, err)
	defer func() { require.NoError(b, db.Close()) }()
	body := make([]byte, 1024)
	rows := make([]store.OutboxRow, b.N)
	for i := range rows {
		id := fmt.Sprintf("case-%d", i/2)
		rows[i] = store.OutboxRow{
			ID: fmt.Sprint("e-", i), CaseID: id, CaseSequence: int64(i%2 + 1),
			Subject: "countback.v1.north.case.redated", Body: body,
		}
	}
	require.NoError(b, db.Write(context.Background(), func(tx *store.Tx) error { return tx.Enqueue(rows) }))
	r, err := NewRelay(RelayOptions{Rows: db, JS: js, Now: clock})
	require.NoError(b, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	b.ResetTimer()
	go func() { ended <- r.Run(ctx) }()
	require.NoError(b, r.Drained(ctx))
	b.StopTimer()
	stop()
	require.NoError(b, <-ended)
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

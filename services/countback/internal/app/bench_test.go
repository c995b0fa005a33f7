package app

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	_ "github.com/ncruces/go-sqlite3/driver"
	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"
)

// benchClients post side by side, as a theatre system's connections do.
const benchClients = 8

// BenchmarkBooking posts bookings of new people over HTTP: each is read,
// planned and committed with SQLite's full synchronisation before the answer.
// Bytes a case are what the database grew by; the bare server then commits as
// many in each of its transactions.
func BenchmarkBooking(b *testing.B) {
	var caseBytes int64
	b.Run("countback", func(b *testing.B) {
		a, next := benchApp(b)
		post(b, a.URL(), func() []byte { return booking(int(next.Add(1)), "2026-11-30T07:30:00-06:00") })
		require.NoError(b, a.Published(context.Background()))
		require.NoError(b, a.Close()) // moves all pages into the database
		caseBytes = (databaseSize(b, a.cfg.Data) - emptySize(b)) / next.Load()
		b.ReportMetric(float64(caseBytes), "disk-B/case")
	})
	b.Run("again", func(b *testing.B) {
		a, next := benchApp(b)
		for range 64 {
			status, _ := send(b, http.MethodPost, a.URL(), booking(int(next.Add(1)), "2026-11-30T07:30:00-06:00"))
			require.Equal(b, 200, status)
		}
		first := next.Load() - 63
		var turn atomic.Int64
		post(b, a.URL(), func() []byte {
			return booking(int(first+turn.Add(1)%64), "2026-11-30T07:30:00-06:00")
		})
	})
	b.Run("bare", func(b *testing.B) {
		if caseBytes == 0 {
			b.Skip("needs the figure of the run before it")
		}
		base := bareServer(b, int(caseBytes))
		var next atomic.Int64
		post(b, base, func() []byte { return booking(int(next.Add(1)), "2026-11-30T07:30:00-06:00") })
	})
}

// benchApp is a server without consumers that has some cases already.
func benchApp(b *testing.B) (*App, *atomic.Int64) {
	cfg := settings(b)
	cfg.NATSListen = ""
	a, err := Start(context.Background(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, a.Close()) })
	next := &atomic.Int64{}
	for range 32 {
		status, body := send(b, http.MethodPost, a.URL(), booking(int(next.Add(1)), "2026-11-30T07:30:00-06:00"))
		require.Equal(b, 200, status, string(body))
	}
	return a, next
}

// post sends b.N bodies from the clients and reports the CPU of the process.
func post(b *testing.B, base string, body func() []byte) {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: benchClients}}
	defer client.CloseIdleConnections()
	var left atomic.Int64
	left.Store(int64(b.N))
	start := used()
	b.ResetTimer()
	var wg sync.WaitGroup
	for range benchClients {
		wg.Go(func() {
			for left.Add(-1) >= 0 {
				resp, err := client.Post(base, "application/fhir+json", bytes.NewReader(body()))
				if err != nil {
					b.Error(err)
					return
				}
				_, _ = io.Copy(io.Discard, resp.Body)
				resp.Body.Close()
				if resp.StatusCode != 200 {
					b.Errorf("status %d", resp.StatusCode)
					return
				}
			}
		})
	}
	wg.Wait()
	b.StopTimer()
	b.ReportMetric(float64(used()-start)/float64(b.N)/1e6, "cpu-ms/op")
}

func used() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func databaseSize(b *testing.B, dir string) int64 {
	info, err := os.Stat(filepath.Join(dir, "countback.db"))
	require.NoError(b, err)
	return info.Size()
}

// emptySize is the size of a database without cases.
func emptySize(b *testing.B) int64 {
	cfg := settings(b)
	a, err := Start(context.Background(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(b, err)
	require.NoError(b, a.Close())
	return databaseSize(b, cfg.Data)
}

// bareServer is the least that a server of this kind can do: decode the bundle
// and its resources, commit as many bytes in one transaction for up to 16
// waiting requests, answer.
func bareServer(b *testing.B, size int) string {
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(b.TempDir(), "bare.db")+
		"?_pragma=journal_mode(wal)&_pragma=synchronous(full)&_pragma=wal_autocheckpoint(4000)&_txlock=immediate")
	require.NoError(b, err)
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { db.Close() })
	_, err = db.Exec(bareSchema)
	require.NoError(b, err)
	// Half of the bytes for keys and pages: what is left is the bodies.
	blob := make([]byte, size/2/bareRows)
	rand.Read(blob)
	waiting := make(chan chan error, 64)
	row := 0
	go func() {
		for first := range waiting {
			batch := []chan error{first}
			for len(batch) < 16 && len(waiting) > 0 {
				batch = append(batch, <-waiting)
			}
			err := commitBare(db, len(batch), &row, blob)
			for _, done := range batch {
				done <- err
			}
		}
	}()
	gin.SetMode(gin.ReleaseMode)
	router := gin.New()
	router.POST("/", func(c *gin.Context) {
		body, err := io.ReadAll(c.Request.Body)
		if err == nil {
			err = decodeBare(body)
		}
		if err == nil {
			done := make(chan error, 1)
			waiting <- done
			err = <-done
		}
		if err != nil {
			c.String(500, err.Error())
			return
		}
		c.String(200, "ok")
	})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	s := &http.Server{Handler: router}
	done := make(chan struct{})
	go func() { _ = s.Serve(l); close(done) }()
	b.Cleanup(func() { s.Close(); <-done; close(waiting) })
	return "http://" + l.Addr().String() + "/"
}

func decodeBare(body []byte) error {
	bundle, err := r4.UnmarshalBundle(body)
	if err != nil {
		return err
	}
	for _, e := range bundle.Entry {
		var head struct{ ResourceType string }
		if err := json.Unmarshal(e.Resource, &head); err != nil {
			return err
		}
		switch head.ResourceType {
		case "Appointment":
			_, err = r4.UnmarshalAppointment(e.Resource)
		case "Procedure":
			_, err = r4.UnmarshalProcedure(e.Resource)
		case "ServiceRequest":
			_, err = r4.UnmarshalServiceRequest(e.Resource)
		case "Patient":
			_, err = r4.UnmarshalPatient(e.Resource)
		default:
			err = fmt.Errorf("unexpected %s", head.ResourceType)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// The bare server's tables and rows: one resource, one index row and one event
// for each of some forty Tasks and the CarePlan, in tables with the keys that
// any server of this kind needs.
const (
	bareSchema = `CREATE TABLE resource (seq INTEGER PRIMARY KEY, tenant INTEGER, typ TEXT, id TEXT, body BLOB, UNIQUE (tenant, typ, id));
		CREATE TABLE idx (seq INTEGER PRIMARY KEY, tenant INTEGER, status TEXT, due INTEGER, id TEXT);
		CREATE INDEX by_due ON idx (tenant, status, due, id);
		CREATE TABLE event (seq INTEGER PRIMARY KEY, id TEXT, body BLOB)`
	bareResources, bareIndex, bareEvents = 41, 40, 41
	bareRows                             = bareResources + bareEvents
)

func commitBare(db *sql.DB, requests int, row *int, blob []byte) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var stmts [3]*sql.Stmt
	for n, query := range []string{
		`INSERT INTO resource (tenant, typ, id, body) VALUES (1, 'Task', ?, ?)`,
		`INSERT INTO idx (tenant, status, due, id) VALUES (1, 'requested', ?, ?)`,
		`INSERT INTO event (id, body) VALUES (?, ?)`,
	} {
		if stmts[n], err = tx.Prepare(query); err != nil {
			return err
		}
		defer stmts[n].Close()
	}
	for range requests {
		for n := range bareResources {
			*row++
			id := fmt.Sprintf("01a1fa1d-8100-765e-bc1c-%012x", *row)
			if _, err := stmts[0].Exec(id, blob); err != nil {
				return err
			}
			if _, err := stmts[2].Exec(id, blob); err != nil {
				return err
			}
			if n < bareIndex {
				if _, err := stmts[1].Exec(*row%1000, id); err != nil {
					return err
				}
			}
		}
	}
	return tx.Commit()
}

package store

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3/driver"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/search"
)

// The benchmarks write what a new booking leads to: the bundle as received, 4
// resources, a CarePlan, a Provenance, 60 items, the case and 2 events. The
// floor writes as many bytes as plain rows of one table in one transaction.
// Both report the CPU of the whole process beside the time.

const (
	bundleBytes     = 6 << 10
	resourceBytes   = 1900
	planBytes       = 6 << 10
	provenanceBytes = 5 << 10
	itemBytes       = 300
	eventBytes      = 1 << 10
	itemsPerCase    = 60
)

type booking struct {
	bundle, resource, plan, provenance, item, event []byte
}

func newBooking() booking {
	fill := func(n int) []byte {
		b := make([]byte, n/2)
		rand.Read(b)
		return fmt.Appendf(nil, "%x", b)
	}
	return booking{fill(bundleBytes), fill(resourceBytes), fill(planBytes), fill(provenanceBytes), fill(itemBytes), fill(eventBytes)}
}

// index is about what the table of parameters takes from a resource.
func (b booking) index(id, patient string) []search.Value {
	return []search.Value{
		{Param: "identifier", Kind: search.Token, System: "urn:oid:2.999.1", Value: id},
		{Param: "subject", Kind: search.Reference, System: "Patient", Value: patient},
		{Param: "status", Kind: search.Token, System: "http://hl7.org/fhir/event-status", Value: "preparation"},
		{Param: "code", Kind: search.Token, System: "http://snomed.info/sct", Value: "52734007"},
		{Param: "date", Kind: search.Date, Low: 1, High: 2},
	}
}

func (b booking) write(tx *Tx) error {
	received, err := tx.Archive(Received{Source: "bench", ContentType: "application/fhir+json", Method: "POST", Body: b.bundle})
	if err != nil {
		return err
	}
	patient, caseID := tx.NewID(), tx.NewID()
	save := func(typ, id string, body []byte) error {
		return tx.Save(Stored{Type: typ, ID: id, Version: 1, Body: body, Patient: patient, ReceivedID: received}, b.index(id, patient))
	}
	for _, typ := range []string{"Patient", "Practitioner", "Appointment", "Procedure"} {
		if err := save(typ, tx.NewID(), b.resource); err != nil {
			return err
		}
	}
	if err := save("CarePlan", caseID, b.plan); err != nil {
		return err
	}
	if err := save("Provenance", tx.NewID(), b.provenance); err != nil {
		return err
	}
	items := make([]Item, itemsPerCase)
	for i := range items {
		due := tx.Now.Add(time.Duration(i) * 24 * time.Hour)
		items[i] = Item{CaseID: caseID, N: i + 1, Step: "step-" + fmt.Sprint(i), Version: 1,
			State: "upcoming", Status: "draft", OpensFrom: due.AddDate(0, 0, -7), OpensTo: due.AddDate(0, 0, -6),
			DueFrom: due, DueTo: due.AddDate(0, 0, 1), Protocol: "http://countback.example/fhir/PlanDefinition/x|1", Data: b.item}
	}
	if err := tx.SaveCase(Case{ID: caseID, Patient: patient, State: "on-track", Sequence: 2, NextAt: tx.Now, Open: true, Data: b.event}); err != nil {
		return err
	}
	if err := tx.SaveItems(items); err != nil {
		return err
	}
	return tx.Enqueue([]OutboxRow{
		{ID: tx.NewID(), CaseID: caseID, CaseSequence: 1, Subject: "countback.v1.x.case.opened", Body: b.event},
		{ID: tx.NewID(), CaseID: caseID, CaseSequence: 2, Subject: "countback.v1.x.tasks.opened", Body: b.event},
	})
}

func cpu() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func reportCPU(b *testing.B, start time.Duration) {
	b.ReportMetric(float64(cpu()-start)/float64(b.N)/1e6, "cpu-ms/op")
}

func BenchmarkBooking(b *testing.B) {
	for _, writers := range []int{1, 16} {
		b.Run(fmt.Sprintf("writers=%d", writers), func(b *testing.B) {
			db, err := Open(context.Background(), Options{Path: b.TempDir(), Now: time.Now})
			require.NoError(b, err)
			defer db.Close()
			content := newBooking()
			for range 20 { // statements prepared, file grown
				require.NoError(b, db.Write(context.Background(), content.write))
			}
			b.ResetTimer()
			start := cpu()
			b.SetParallelism((writers + 1) / 2)
			if writers == 1 {
				for range b.N {
					if err := db.Write(context.Background(), content.write); err != nil {
						b.Fatal(err)
					}
				}
			} else {
				b.RunParallel(func(pb *testing.PB) {
					for pb.Next() {
						if err := db.Write(context.Background(), content.write); err != nil {
							b.Error(err)
						}
					}
				})
			}
			b.StopTimer()
			reportCPU(b, start)
			if info, err := os.Stat(filepath.Join(db.options.Path, File)); err == nil {
				b.ReportMetric(float64(info.Size())/float64(b.N+20)/1024, "KiB/op")
			}
		})
	}
}

// BenchmarkFloor: equal bytes, one table without any index, prepared
// multi-row statements, one transaction, the same settings.
func BenchmarkFloor(b *testing.B) {
	for _, group := range []int{1, 16} {
		b.Run(fmt.Sprintf("group=%d", group), func(b *testing.B) {
			ctx := context.Background()
			db := &DB{options: Options{}}
			pool, err := driver.Open(db.dsn(filepath.Join(b.TempDir(), "floor.db"), "immediate", writerPragmas))
			require.NoError(b, err)
			defer pool.Close()
			pool.SetMaxOpenConns(1)
			_, err = pool.ExecContext(ctx, `CREATE TABLE plain (seq INTEGER PRIMARY KEY, head TEXT, body BLOB)`)
			require.NoError(b, err)
			content := newBooking()
			big := [][]byte{content.bundle, content.resource, content.resource, content.resource, content.resource,
				content.plan, content.provenance, content.event, content.event, content.event}
			var args, items []any
			for _, body := range big {
				args = append(args, strings.Repeat("h", 80), body)
			}
			for range itemsPerCase {
				items = append(items, strings.Repeat("h", 200), content.item)
			}
			values := func(n int) string {
				return `INSERT INTO plain (head, body) VALUES (?, ?)` + strings.Repeat(`, (?, ?)`, n-1)
			}
			bigs, err := pool.PrepareContext(ctx, values(len(big)))
			require.NoError(b, err)
			many, err := pool.PrepareContext(ctx, values(itemsPerCase))
			require.NoError(b, err)
			b.ResetTimer()
			start := cpu()
			for done := 0; done < b.N; done += group {
				tx, err := pool.BeginTx(ctx, nil)
				require.NoError(b, err)
				for range min(group, b.N-done) {
					_, err = tx.StmtContext(ctx, bigs).Exec(args...)
					require.NoError(b, err)
					_, err = tx.StmtContext(ctx, many).Exec(items...)
					require.NoError(b, err)
				}
				require.NoError(b, tx.Commit())
			}
			b.StopTimer()
			reportCPU(b, start)
		})
	}
}

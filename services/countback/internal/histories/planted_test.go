package histories

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// planted are faults of the kinds that feeds, outboxes and re-planning are known
// for. Each changes a line of a file under services/countback/internal; the tests
// named must fail.
var planted = []struct{ name, file, line, instead, pkg, tests string }{
	{"what arrives last counts", "translate/sourceorder.go", "case !comparable, c > 0:", "case true, comparable, c > 0:", "histories", "^TestEvery"},
	{"of two at one instant the last counts", "translate/sourceorder.go", "wins := bytes.Compare(o.Hash, held.Hash) > 0", "wins := true", "histories", "^TestEvery"},
	{"a repeat is a conflict", "translate/sourceorder.go", "case bytes.Equal(o.Hash, held.Hash): // the same again", "case bytes.Equal(o.Hash, nil):", "histories", "^TestEvery"},
	{"a dispute never ends", "translate/sourceorder.go", "return Verdict{Order: o, Noted: true, Dispute: disputed}", "o.Disputed = held.Disputed\n\t\treturn Verdict{Order: o, Noted: true}", "histories", "^TestEvery"},
	{"nobody is asked about a conflict", "translate/sourceorder.go", "v.Order.Disputed, v.Dispute = now, true", "v.Dispute = true", "histories", "^TestEvery"},
	{"time is not compared", "translate/sourceorder.go", "if !o.At.IsZero() && !b.At.IsZero() {", "if o.At.IsZero() && b.At.IsZero() {", "histories", "^TestEvery"},
	{"any time is trusted", "translate/sourceorder.go", "return o.At.After(now.Add(aheadLimit))", "return o.At.After(now.Add(1000 * aheadLimit))", "casework", "^TestATimeInTheFuture$"},
	{"no tombstone", "casework/sourceorder.go", "p.order, p.known, p.replan = store.Order(sent), true, cur.Version > 0", `p.order, p.known = store.Order(sent), q.Resource.String("status") == "booked"`, "casework", "^TestCancelledBeforeItWasBooked$"},
	{"one order for all sources", "store/feed.go", "WHERE r.type = ? AND r.id = ? AND o.source = ?`", "WHERE r.type = ? AND r.id = ? AND o.source <> ?`", "casework", "^TestOlderMessageArrivesLater$"},
	{"our own meta is taken for an order", "casework/sourceorder.go", "return cur.Version > 0 && named &&", "return cur.Version > 1000 && named &&", "casework", "^TestReadChangedAndSentBack$"},
	{"If-Match is not obeyed", "casework/identify.go", "if etag(cur.Version) != strings.TrimSpace(q.IfMatch) {", `if strings.TrimSpace(q.IfMatch) == etag(-1) {`, "casework", "^TestManyMoveTheVersionTheyRead$"},
	{"told though nothing changed", "casework/items.go", "bytes.Equal(was.Data, data) &&", "bytes.Equal(was.Data, nil) &&", "casework", "^TestTheSameContentInAnotherSpelling$"},
	{"expired evidence is carried over", "casework/carry.go", "if counts[key] {", "if counts != nil {", "casework", "^TestBookedAnewUnderAnotherNumber$"},
	{"a cursor in place of row state", "store/outbox.go", "WHERE published_at IS NULL ORDER BY seq LIMIT ?`", "WHERE seq > (SELECT coalesce(max(seq), 0) FROM outbox WHERE published_at IS NOT NULL) ORDER BY seq LIMIT ?`", "outbox", "^TestEveryOperationFailsOnce$/^publish"},
	{"marked though not published", "outbox/publish.go", `s.err = fmt.Errorf("publish outbox row %d: %w", row.Seq, err)`, `s.marks, s.err = append(s.marks, store.Mark{Seq: row.Seq}), fmt.Errorf("publish outbox row %d: %w", row.Seq, err)`, "outbox", "^TestEveryOperationFailsOnce$/^publish"},
	{"a case goes on after a failure", "outbox/publish.go", `s.err = fmt.Errorf("publish outbox row %d: %w", row.Seq, err)`, "s.err = fmt.Errorf(\"publish outbox row %d: %w\", row.Seq, err)\n\t\t\tcontinue", "outbox", "^TestEveryOperationFailsOnce$/^publish"},
	{"published before the commit", "store/outbox.go", "	err := db.Read(ctx, func(tx *Tx) error {\n		return tx.each(func(rows *sql.Rows) error {\n			var r OutboxRow", "	err := (func(see func(*Tx) error) error { return see(&Tx{conn: db.writer, readOnly: true}) })(func(tx *Tx) error {\n		return tx.each(func(rows *sql.Rows) error {\n			var r OutboxRow", "outbox", "^TestNothingIsPublishedBeforeTheCommit$"},
	{"answered before the commit", "store/write.go", "func (g *group) commit() {\n", "func (g *group) commit() {\n	for _, a := range g.answers {\n		a.request.reply <- a.err\n	}\n	g.answers = nil\n", "store", "^TestEveryWriteFailsOnce$"},
	{"no lock of the case", "casework/replan.go", "cases, err := tx.CasesOf(patient)\n", "cases, err := o.unlocked(patient)\n", "casework", "^TestMany"},
	{"the number of an event is not kept", "casework/write.go", "a.Patient == b.Patient && a.State == b.State && a.Sequence == b.Sequence &&", "a.Patient == b.Patient && a.State == b.State &&", "casework", "^TestRandomHistory$"},
}

// unlocked reads the cases of a person as they stood before the transaction.
const unlocked = `package casework

import (
	"context"

	"example.org/countback/services/countback/internal/store"
)

func (o *Office) unlocked(patient string) (cases []store.Case, err error) {
	err = o.db.Read(context.Background(), func(tx *store.Tx) error {
		cases, err = tx.CasesOf(patient)
		return err
	})
	return cases, err
}
`

// A proof that cannot fail proves nothing: each planted fault must be found. All
// of them are tried under COUNTBACK_FULL=1, and otherwise three, drawn.
func TestPlantedFaultsAreFound(t *testing.T) {
	tried := drawn(t).Perm(len(planted))
	if os.Getenv("COUNTBACK_FULL") != "1" {
		tried = tried[:3]
	}
	for _, n := range tried {
		fault := planted[n]
		t.Run(fault.name, func(t *testing.T) {
			output := testWith(t.Context(), plant(t, fault.file, fault.line, fault.instead), fault.pkg, fault.tests)
			require.Contains(t, output, "--- FAIL: Test", "nothing saw it:\n%s", output)
		})
	}
}

// Every line that a fault changes is there, in the run that draws only three, too.
func TestPlantedFaultsFit(t *testing.T) {
	for _, fault := range planted {
		plant(t, fault.file, fault.line, fault.instead)
	}
}

// testWith runs tests of a package on a changed source and gives what they say.
func testWith(ctx context.Context, overlay, pkg, tests string) string {
	command := exec.CommandContext(ctx, "go", "test", "-overlay", overlay, "-vet=off", "-timeout=3m", "-count=1", "-run="+tests, "../"+pkg)
	if pkg == "casework" { // a random test that fails is to leave nothing behind
		command.Args = append(command.Args, "-rapid.nofailfile")
	}
	output, err := command.CombinedOutput()
	if err == nil {
		return "it passed: " + string(output)
	}
	return err.Error() + "\n" + string(output)
}

// plant writes a copy of a file with one line changed, and the overlay by which
// the go command takes it for the file itself.
func plant(t *testing.T, file, line, instead string) string {
	t.Helper()
	source, err := filepath.Abs(filepath.Join("..", file))
	require.NoError(t, err)
	text, err := os.ReadFile(source)
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(string(text), line), "%s is to hold %q once", file, line)
	dir := t.TempDir()
	changed, overlay := filepath.Join(dir, filepath.Base(file)), filepath.Join(dir, "overlay.json")
	require.NoError(t, os.WriteFile(changed, []byte(strings.Replace(string(text), line, instead, 1)), 0o600))
	replaced := map[string]string{source: changed}
	if strings.Contains(instead, "o.unlocked(") { // a file that is not there otherwise
		added := filepath.Join(dir, "unlocked.go")
		require.NoError(t, os.WriteFile(added, []byte(unlocked), 0o600))
		replaced[filepath.Join(filepath.Dir(source), "unlocked.go")] = added
	}
	list, err := json.Marshal(map[string]any{"Replace": replaced})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(overlay, list, 0o600))
	return overlay
}

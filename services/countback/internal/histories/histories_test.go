package histories

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// drawn is a random source whose seed is printed.
func drawn(t *testing.T) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano())
	if s := os.Getenv("COUNTBACK_HISTORIES_SEED"); s != "" {
		var err error
		seed, err = strconv.ParseUint(s, 10, 64)
		require.NoError(t, err)
	}
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, seed))
}

// house is a real office over a real database, at one moment.
func house(t testing.TB) *casework.Office {
	t.Helper()
	office, _ := opened(t)
	return office
}

func opened(t testing.TB) (*casework.Office, *store.DB) {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	holidays, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: holidays})
	require.NoError(t, err)
	db, err := store.Open(context.Background(), store.Options{Path: t.TempDir(), Now: func() time.Time { return now }, Fatal: func(err error) { panic(err) }})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	office, err := casework.Open(context.Background(), casework.Options{
		DB: db, Token: "quillmere", Facility: translate.Facility{Calendar: cal, Base: "https://plans.quillmere.example/fhir"},
	})
	require.NoError(t, err)
	return office, db
}

func newFolder(t testing.TB, office *casework.Office) *folder {
	t.Helper()
	p := read(t, patient(""))
	return &folder{
		all: messages(t, ""), facility: office.Facility(), protocol: office.Protocol(), plans: map[state]string{},
		patient: &translate.Record{Resource: p, Type: "Patient", ID: "p", First: now, Updated: now},
	}
}

const chosen = 5 // messages of a history, beside the one that comes twice

// subsets are all choices of five of the catalogue.
func subsets() [][]int {
	var out [][]int
	var choose func(from int, have []int)
	choose = func(from int, have []int) {
		if len(have) == chosen {
			out = append(out, slices.Clone(have))
			return
		}
		for n := from; n < len(catalogue); n++ {
			choose(n+1, append(have, n))
		}
	}
	choose(0, nil)
	return out
}

// orders calls tell with every order of a set.
func orders(set []int, tell func([]int)) {
	var permute func(n int)
	permute = func(n int) {
		if n == len(set) {
			tell(set)
			return
		}
		for k := n; k < len(set); k++ {
			set[n], set[k] = set[k], set[n]
			permute(n + 1)
			set[n], set[k] = set[k], set[n]
		}
	}
	permute(0)
}

// repeated calls tell with a history, and with each message of it once more at
// each later place.
func repeated(order []int, tell func([]int)) {
	tell(order)
	more := make([]int, 0, len(order)+1)
	for n := range order {
		for at := n + 1; at <= len(order); at++ {
			more = append(append(append(more[:0], order[:at]...), order[n]), order[at:]...)
			tell(more)
		}
	}
}

// Every five messages, in every order, each once more at every later place, end
// in one plan: that of the messages that count by the documented rule.
func TestEveryHistoryEndsInOnePlan(t *testing.T) {
	f, rng := newFolder(t, house(t)), drawn(t)
	sets := subsets()
	require.Len(t, sets, 792) // 12 choose 5
	rng.Shuffle(len(sets), func(i, k int) { sets[i], sets[k] = sets[k], sets[i] })
	whole := os.Getenv("COUNTBACK_HISTORIES") == "all"
	begun, told, done := time.Now(), 0, 0
	for _, set := range sets {
		if !whole && time.Since(begun) > 1500*time.Millisecond {
			break
		}
		want := f.plan(f.rule(set))
		orders(slices.Clone(set), func(order []int) {
			repeated(order, func(history []int) {
				told++
				if got := f.plan(f.tell(history)); got != want {
					require.Equal(t, want, got, "history %v", names(history))
				}
			})
		})
		done++
	}
	require.Greater(t, done, 20)
	if whole {
		require.Equal(t, 792*120*16, told)
	}
	plans := map[string]bool{}
	for _, p := range f.plans {
		plans[p] = true
	}
	t.Logf("%d histories of %d of %d sets end in one plan each; %d different plans", told, done, len(sets), len(plans))
	require.Greater(t, len(plans), 10, "plans that differ")
}

func names(history []int) []string {
	var out []string
	for _, n := range history {
		out = append(out, catalogue[n].name)
	}
	return out
}

// Drawn histories through the real casework and database end in the plan that the
// fold gives.
func TestCaseworkAgreesWithTheFold(t *testing.T) {
	office, db := opened(t)
	f, rng := newFolder(t, office), drawn(t)
	want, _ := strconv.Atoi(os.Getenv("COUNTBACK_HISTORIES"))
	begun, n := time.Now(), 0
	for ; n < want || want == 0 && time.Since(begun) < 3*time.Second; n++ {
		history := rng.Perm(len(catalogue))[:chosen]
		k := rng.IntN(chosen)
		history = slices.Insert(history, k+1+rng.IntN(chosen-k), history[k])
		person := strconv.Itoa(n)
		deliver(t, office, "Patient", "p"+person, patient(person))
		for _, m := range history {
			deliver(t, office, catalogue[m].typ, catalogue[m].id+person, catalogue[m].json(t, person))
		}
		of := folder{all: messages(t, person)} // which of two at one instant wins is a matter of their content
		require.Equal(t, f.plan(of.tell(history)), stands(t, db, "Patient/p"+person), "history %v", names(history))
	}
	t.Logf("%d histories through casework and SQLite end in the plan of the fold", n)
	require.Greater(t, n, 5)
}

func deliver(t testing.TB, office *casework.Office, typ, id string, body []byte) {
	t.Helper()
	r, issues := fhir.Parse(body, len(body)+1)
	require.Empty(t, issues)
	_, err := office.Receive(context.Background(), casework.Delivery{
		ContentType: "application/fhir+json", Method: "PUT", Target: typ + "/" + id, Body: body,
		Requests: []casework.Request{{Method: "PUT", Type: typ, ID: id, Resource: r}},
	})
	require.NoError(t, err, fmt.Sprintf("PUT %s/%s", typ, id))
}

package casework

import (
	"context"
	"net/url"
	"slices"
	"strings"

	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

// mostPatients is how many people a search by name may find before it has to be
// narrowed.
const mostPatients = 200

// CaseQuery narrows the list of open cases; what is empty narrows nothing.
type CaseQuery struct {
	From, To       string // days of surgery, both included, 2006-01-02
	State          string
	NoDate         bool
	Surgeon, Place string // references
	Words          string // of a name, or an identifier as it is written
	After          store.CasePlace
	Limit          int
}

// CasePage is one page of open cases by day of surgery.
type CasePage struct {
	CaseList
	Next store.CasePlace // the place to go on from; zero: this is the last page
	Many bool            // more people have the name than are looked through
}

// Cases lists open cases by day of surgery.
func (o *Office) Cases(ctx context.Context, q CaseQuery) (*CasePage, error) {
	out := &CasePage{}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		f := store.CaseFilter{From: q.From, To: q.To, NoDate: q.NoDate, Surgeon: q.Surgeon, Place: q.Place, After: q.After, Limit: q.Limit + 1}
		if q.State != "" {
			f.States = []string{q.State}
		}
		r := morningReader{o: o, tx: tx, cases: map[string]*store.Case{}, people: map[string]Person{}}
		var err error
		if r.p, err = o.inForce(tx); err != nil {
			return err
		}
		if q.Words != "" {
			if f.Patients, err = patientsNamed(tx, q.Words); err != nil {
				return err
			}
			out.Many = len(f.Patients) >= mostPatients
		}
		if out.Total, err = tx.CountCases(f); err != nil {
			return err
		}
		found, err := tx.CasesBySurgery(f)
		if err != nil {
			return err
		}
		if len(found) > q.Limit {
			found = found[:q.Limit]
			last := found[q.Limit-1]
			out.Next = store.CasePlace{Surgery: last.Surgery, ID: last.ID}
		}
		out.Cases, err = r.lines(found)
		return err
	})
	return out, err
}

// patientsNamed finds people by every word of their name, or by an identifier;
// never nil.
func patientsNamed(tx *store.Tx, words string) ([]string, error) {
	out := []string{}
	fields := strings.Fields(words)
	if len(fields) == 0 {
		return out, nil
	}
	for _, ask := range []url.Values{{"name": fields}, {"identifier": {strings.Join(fields, " ")}}} {
		for name, values := range ask { // a comma would mean "or"
			for n, v := range values {
				ask[name][n] = strings.NewReplacer(`\`, `\\`, `,`, `\,`, `|`, `\|`, `$`, `\$`).Replace(v)
			}
		}
		q, issues := search.Parse("Patient", ask, search.Options{})
		if len(issues) > 0 {
			return nil, issues
		}
		q.Count = mostPatients
		page, err := tx.Search(q)
		if err != nil {
			return nil, err
		}
		for _, s := range page.Items {
			if ref := "Patient/" + s.ID; !slices.Contains(out, ref) {
				out = append(out, ref)
			}
		}
	}
	return out, nil
}

// Choice is one value that a list can be narrowed to.
type Choice struct{ Value, Name string }

// Choices are the surgeons and places of open cases, by name.
func (o *Office) Choices(ctx context.Context) (surgeons, places []Choice, err error) {
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		for _, c := range []struct {
			read func() ([]string, error)
			into *[]Choice
		}{{tx.Surgeons, &surgeons}, {tx.Places, &places}} {
			refs, err := c.read()
			if err != nil {
				return err
			}
			for _, ref := range refs {
				name, err := o.nameAt(tx, ref)
				if err != nil {
					return err
				}
				*c.into = append(*c.into, Choice{ref, name})
			}
			slices.SortFunc(*c.into, func(a, b Choice) int { return strings.Compare(a.Name, b.Name) })
		}
		return nil
	})
	return surgeons, places, err
}

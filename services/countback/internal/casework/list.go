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
	Surgeon, Place string          // references
	Words          string          // of a name, or an identifier as it is written
	After          store.CasePlace // the place of the last case of the page before
	Before         store.CasePlace // or that of the first case of the page after
	Limit          int
}

// CasePage is one page of open cases by day of surgery.
type CasePage struct {
	CaseList
	Next store.CasePlace // the place to go on from; zero: this is the last page
	Prev store.CasePlace // the place to go back from; zero: this is the first page
	Many bool            // more people have the name than are looked through
	// Ended are cases that are over, of the people who were looked for by name or
	// number, the latest day first; only on the first page.
	Ended []CaseLine
}

// mostEnded is how many cases that are over are shown to who looks for a person.
const mostEnded = 50

// ended reads them, whatever else narrows the list: a Task of a case that is over
// may still wait for somebody.
func (p *CasePage) ended(r *morningReader, patients []string) error {
	var all []store.Case
	for _, ref := range patients {
		of, err := r.tx.CasesOf(ref)
		if err != nil {
			return err
		}
		for _, c := range of {
			if !c.Open {
				all = append(all, c)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b store.Case) int { return strings.Compare(b.Surgery, a.Surgery) })
	var err error
	p.Ended, err = r.lines(all[:min(len(all), mostEnded)])
	return err
}

// Cases lists open cases by day of surgery.
func (o *Office) Cases(ctx context.Context, q CaseQuery) (*CasePage, error) {
	out := &CasePage{}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		f := store.CaseFilter{From: q.From, To: q.To, NoDate: q.NoDate, Surgeon: q.Surgeon, Place: q.Place, After: q.After, Before: q.Before, Limit: q.Limit + 1}
		if q.State != "" {
			f.States = []string{q.State}
		}
		r := newMorningReader(o, tx)
		var err error
		if r.p, err = o.inForce(tx); err != nil {
			return err
		}
		if q.Words != "" {
			if f.Patients, err = patientsNamed(tx, q.Words); err != nil {
				return err
			}
			out.Many = len(f.Patients) >= mostPatients
			if q.After == (store.CasePlace{}) && q.Before == (store.CasePlace{}) {
				if err := out.ended(&r, f.Patients); err != nil {
					return err
				}
			}
		}
		if out.Total, err = tx.CountCases(f); err != nil {
			return err
		}
		found, err := tx.CasesBySurgery(f)
		if err != nil {
			return err
		}
		found = out.cut(found, q)
		out.Cases, err = r.lines(found)
		return err
	})
	return out, err
}

// cut leaves out the one case more that was asked for, which says that there is
// another page, and sets the places from which the pages beside this one go on.
func (p *CasePage) cut(found []store.Case, q CaseQuery) []store.Case {
	more, back := len(found) > q.Limit, q.Before != (store.CasePlace{})
	if more && back {
		found = found[1:]
	} else if more {
		found = found[:q.Limit]
	}
	if len(found) == 0 {
		return found
	}
	first, last := found[0], found[len(found)-1]
	if more || back {
		p.Next = store.CasePlace{Surgery: last.Surgery, ID: last.ID}
	}
	if back && more || q.After != (store.CasePlace{}) {
		p.Prev = store.CasePlace{Surgery: first.Surgery, ID: first.ID}
	}
	return found
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

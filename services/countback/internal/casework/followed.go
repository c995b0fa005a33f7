package casework

import (
	"encoding/json"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// Followed is what stands because of a person's answers.
type Followed struct {
	Advice string   // what the person who reported must be told at once; empty: it is no report
	Told   string   // who else knows of the report
	Holds  []string // sentences of the holds that rest on the answers and are not released
	Closed []string // titles of the items that the answers close
	Raised []string // of those that they brought in, with their state
	Left   []string // required questions that are still to be asked
}

// followed reads it, as it stands now.
func (o *Office) followed(tx *store.Tx, s store.Stored, r *fhir.Resource) (*Followed, error) {
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	out := &Followed{}
	if form := p.Questionnaires().Of(r); form != nil && r.String("status") != "entered-in-error" {
		if sorted, ok := form.Sort(r, s.Updated, o.facility.Calendar); ok {
			out.Advice = sorted.Advice
			if out.Told, err = (&receipt{office: o, tx: tx, protocol: p}).told(s); err != nil {
				return nil, err
			}
		} else {
			out.Left = form.LeftWords(r)
		}
	}
	if !strings.HasPrefix(s.Patient, "Patient/") {
		return out, nil
	}
	cases, err := tx.CasesOf(s.Patient)
	for n := 0; err == nil && n < len(cases); n++ {
		err = out.in(o, tx, &cases[n], s.Type+"/"+s.ID)
	}
	return out, err
}

// in adds what rests on the answers in one case.
func (f *Followed) in(o *Office, tx *store.Tx, c *store.Case, answers string) error {
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return err
	}
	for _, h := range d.Holds {
		for _, record := range h.Records {
			if h.Ended.IsZero() && partOf(record, answers) {
				f.Holds = append(f.Holds, h.Said)
				break
			}
		}
	}
	items, err := tx.Items(c.ID)
	if err != nil {
		return err
	}
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return err
		}
		if row.Record != answers && !partOf(row.About, answers) {
			continue
		}
		title, err := o.titleOf(tx, it)
		if err != nil {
			return err
		}
		if row.Record == answers && !row.State.Waiting() {
			f.Closed = append(f.Closed, title)
		} else {
			f.Raised = append(f.Raised, title+" ("+strings.ReplaceAll(string(row.State), "-", " ")+")")
		}
	}
	return nil
}

func (o *Office) titleOf(tx *store.Tx, it store.Item) (string, error) {
	p, err := o.protocolOf(tx, it.Protocol)
	if err != nil {
		return "", err
	}
	if s := p.Step(it.Step); s != nil {
		return s.Title, nil
	}
	return it.Step, nil
}

// partOf reports whether a record is the answers, a version of them or one of them.
func partOf(record, answers string) bool {
	rest, ours := strings.CutPrefix(record, answers)
	return ours && (rest == "" || rest[0] == '/' || rest[0] == '#')
}

// authorOf is the name of who wrote the answers down for somebody else; empty: the
// response names nobody.
func authorOf(r *fhir.Resource) string { return r.String("author", "display") }

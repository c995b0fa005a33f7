package casework

import (
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// LateDose says that a last dose is later than the rules give and that nobody
// has yet said that it is meant, see Act.Meant. Nothing was stored.
type LateDose struct {
	Words string // both moments and the time of surgery; names a medicine, so it is not logged
}

// Error holds nothing of what was sent, so that it may be logged.
func (*LateDose) Error() string { return "a last dose later than the rules give is not confirmed" }

// lateDose says in words that what w signs for a medicine is later than the
// strictest rule gives, or that it goes on, as usual or in another dose, where they give a last dose; empty when
// it is not. Where facts are missing, that is the earliest last dose that may come
// out.
func (o *Office) lateDose(c *readiness.Case, medicine string, w *translate.Work) string {
	if w == nil || medicine == "" {
		return ""
	}
	signed, decided := o.facility.LastDose(w), readiness.Decision(w.Decision)
	for n := range c.Medicines {
		m := &c.Medicines[n]
		if m.Key != medicine {
			continue
		}
		a := readiness.Advise(m, c, o.facility.Calendar)
		if a.LaterThan(signed, decided).IsZero() {
			return ""
		}
		surgery := readiness.Moment{Day: c.Day}
		if !c.Start.IsZero() {
			surgery.At = c.Start.In(o.facility.Calendar.Zone())
		}
		says := "This is later than the rules give: "
		if decided == readiness.DecidedGoOn || decided == readiness.DecidedOtherDose {
			says = "The rules give a last dose: "
		}
		return says + a.LaterWords(signed, decided, surgery) + "."
	}
	return ""
}

// secondLook says what follows from such a signature.
const secondLook = " Another person is asked to look at it."

// lateSigned is the same for an item that stands done.
func (o *Office) lateSigned(tx *store.Tx, it store.Item) (string, error) {
	row, err := rowOf(it)
	if err != nil || row.Work == nil || row.Work.Outcome != readiness.Done || row.State != readiness.StateDone || row.Work.Signed == "" && row.Work.Decision == "" {
		return "", err
	}
	c, err := o.stands(tx, it)
	if err != nil {
		return "", err
	}
	return o.lateDose(c, row.Repeat, row.Work), nil
}

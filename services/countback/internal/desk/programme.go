package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
)

// reportDays is the period that is shown where none is asked for: the days up to
// yesterday.
const reportDays = 90

// programmePage is what the programme reports.
type programmePage struct {
	page
	From, To   string
	Says       string // what is wrong with the period asked for
	Period     string
	Operations int
	Usage      string
	CSV        string
	Rows       []measureRow
}

// measureRow is one measure.
type measureRow struct {
	ID, Title, Description, Numerator, Denominator string
	N, Of                                          int
	Share                                          string
	By                                             string // heading of the groups
	Groups                                         []readiness.CountedGroup
	Split                                          string     // what those that were not ready lacked, counted
	Lacks                                          []lackLine // the newest day of surgery first
	Unnamed                                        int        // beside them
	FHIR                                           string
}

// lackLine is one person who was not ready on the day before, and why.
type lackLine struct {
	CaseID, Person, Number, Day string
	Says                        []string
}

// lacks say who was not ready, and what was missing.
func (r *measureRow) lacks(m *casework.Measured, persons map[string]casework.Person) {
	if len(m.Lacks) == 0 {
		return
	}
	held, undone, doubt := 0, 0, 0
	for _, l := range slices.Backward(m.Lacks) {
		switch {
		case l.Held:
			held++
		case len(l.Undone) > 0:
			undone++
		default:
			doubt++
		}
		who, named := persons[l.Case]
		if !named {
			r.Unnamed++
			continue
		}
		line := lackLine{CaseID: l.Case, Person: who.Name, Day: l.Day.Format(dayWords)}
		if len(who.Identifiers) > 0 {
			line.Number = who.Identifiers[0]
		}
		if l.Held {
			line.Says = append(line.Says, "A hold stood.")
		}
		if len(l.Undone) > 0 {
			line.Says = append(line.Says, "Not done: "+strings.Join(l.Undone, ", ")+".")
		}
		if len(l.InDoubt) > 0 {
			line.Says = append(line.Says, "To find out whether it applies: "+strings.Join(l.InDoubt, ", ")+".")
		}
		r.Lacks = append(r.Lacks, line)
	}
	r.Split = fmt.Sprintf("Not ready: %d. Of these, %d held, %d with a must not done, %d only with a must to find out.", len(m.Lacks), held, undone, doubt)
}

// period reads the period asked for; wrong says what is wrong with it.
func (d *Desk) period(c *gin.Context) (from, to calendar.Date, wrong string) {
	today := d.Calendar.DateOf(d.Now())
	from, to = today.Add(-reportDays), today.Add(-1)
	for name, into := range map[string]*calendar.Date{"from": &from, "to": &to} {
		text := c.Query(name)
		if text == "" {
			continue
		}
		day, err := calendar.ParseDate(text)
		if err != nil {
			return today.Add(-reportDays), today.Add(-1), "That is no period of dates; the last days are shown instead."
		}
		*into = day
	}
	if to < from || to.Sub(from) > casework.MostReported {
		return today.Add(-reportDays), today.Add(-1), "A period ends after it begins, and spans ten years at most; the last days are shown instead."
	}
	return from, to, ""
}

func (d *Desk) programmePage(c *gin.Context) error {
	from, to, wrong := d.period(c)
	found, err := d.Office.Programme(c.Request.Context(), from, to)
	if err != nil {
		return err
	}
	p := newProgrammePage(d.newPage(c, "What the programme reports", "/programme"), found)
	p.Says = wrong
	return d.render(c, http.StatusOK, "programme", p)
}

// groupHeads are the headings of the groups of a measure.
var groupHeads = map[string]string{
	readiness.ByReason: "Reason", readiness.ByOutcome: "What became of it", readiness.ByMissing: "What was not done",
}

func newProgrammePage(p page, found *casework.Programme) *programmePage {
	span := "?from=" + found.From.String() + "&to=" + found.To.String()
	out := &programmePage{
		page: p, From: found.From.String(), To: found.To.String(), Operations: found.Operations,
		Period: readiness.Moment{Day: found.From}.Words() + " to " + readiness.Moment{Day: found.To}.Words(),
		CSV:    Root + "/programme/report.csv" + span,
	}
	for n := range found.Measures {
		m := &found.Measures[n]
		out.Usage = m.Usage
		row := measureRow{
			ID: string(m.Indicator), Title: m.Title, Description: m.Description, Numerator: m.MeasureWords.Numerator,
			Denominator: m.MeasureWords.Denominator, N: m.Counted.Numerator, Of: m.Counted.Denominator, Share: share(m.Counted), By: groupHeads[m.By], Groups: m.Groups,
			FHIR: "/fhir/Measure/" + string(m.Indicator) + "/$evaluate-measure?periodStart=" + out.From + "&periodEnd=" + out.To,
		}
		row.lacks(m, found.Persons)
		out.Rows = append(out.Rows, row)
	}
	return out
}

// share is a part in percent, with one digit behind the point.
func share(c readiness.Counted) string {
	if c.Denominator == 0 {
		return "none to count"
	}
	return strconv.FormatFloat(100*float64(c.Numerator)/float64(c.Denominator), 'f', 1, 64) + " %"
}

// programmeTable gives the report as CSV: a line for each measure, and one for
// each of its groups.
func (d *Desk) programmeTable(c *gin.Context) error {
	from, to, wrong := d.period(c)
	if wrong != "" || c.Param("table") != "report.csv" {
		return d.noRoute(c)
	}
	found, err := d.Office.Programme(c.Request.Context(), from, to)
	if err != nil {
		return err
	}
	rows := [][]string{{"measure", "group", "count", "of", "percent", "from", "to", "what is counted", "of what"}}
	for _, m := range found.Measures {
		counted, of := m.Counted.Numerator, m.Counted.Denominator
		percent := ""
		if of > 0 {
			percent = strconv.FormatFloat(100*float64(counted)/float64(of), 'f', 1, 64)
		}
		rows = append(rows, []string{
			m.Title, "", strconv.Itoa(counted), strconv.Itoa(of), percent, from.String(), to.String(),
			m.MeasureWords.Numerator, m.MeasureWords.Denominator + ". " + m.Usage,
		})
		for _, g := range m.Groups {
			rows = append(rows, []string{m.Title, m.By + ": " + g.Name, strconv.Itoa(g.N), "", "", from.String(), to.String(), m.ByWords, ""})
		}
	}
	return sendTable(c, "report.csv", rows)
}

package desk

import (
	"net/http"
	"net/url"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

const casesRows = 50

// casesPage is the open cases by day of surgery.
type casesPage struct {
	page
	Table            caseTable
	Ask              caseAsk
	States           []option
	Surgeons, Places []option
	Prev, Next       string // addresses of the pages beside it; empty: there is none
	First            string // address of the first page; empty: this is it
	Many             bool
	Week             string // what the chosen week is
	WeekBefore       string
	WeekAfter        string
	// Ended are cases that are over, of the people found.
	Ended caseTable
	// Without are bookings of the people found that have no open case.
	Without caselessTable
}

type option struct {
	Value, Name string
	On          bool
}

// caseAsk is what the form was filled in with.
type caseAsk struct{ Week, State, Surgeon, Place, Words string }

// shownStates are the states that open cases can have, and those without a date.
var shownStates = []readiness.CaseState{
	readiness.CaseHeld, readiness.CaseInfeasible, readiness.CaseBehind, readiness.CaseOnTrack, readiness.CaseReady,
	readiness.CaseArrived, readiness.CaseHome,
}

// noDate is the choice of cases that have no day of surgery.
const noDate = "no-date"

func (d *Desk) casesPage(c *gin.Context) error {
	ask := caseAsk{Week: c.Query("week"), State: c.Query("state"), Surgeon: c.Query("surgeon"), Place: c.Query("place"), Words: c.Query("find")}
	q := casework.CaseQuery{
		Surgeon: ask.Surgeon, Place: ask.Place, Words: ask.Words, Limit: casesRows,
		After: store.CasePlace{Surgery: c.Query("after"), ID: c.Query("id")},
	}
	if c.Query("before-id") != "" {
		q.After, q.Before = store.CasePlace{}, store.CasePlace{Surgery: c.Query("before"), ID: c.Query("before-id")}
	}
	if ask.State == noDate {
		q.NoDate = true
	} else {
		q.State = ask.State
	}
	monday, err := calendar.ParseDate(ask.Week)
	if err == nil {
		monday = monday.Add(-(int(monday.Weekday()) + 6) % 7)
		q.From, q.To = monday.String(), monday.Add(6).String()
	}
	found, err := d.Office.Cases(c.Request.Context(), q)
	if err != nil {
		return err
	}
	surgeons, places, err := d.Office.Choices(c.Request.Context())
	if err != nil {
		return err
	}
	p := d.newCasesPage(d.newPage(c, "Cases", "/cases"), found, ask)
	p.Surgeons, p.Places = options(surgeons, ask.Surgeon), options(places, ask.Place)
	if q.From != "" {
		p.Week = monday.Format("Mon 2 Jan") + " to " + monday.Add(6).Format(dayWords)
		p.WeekBefore, p.WeekAfter = ask.with("week", monday.Add(-7).String()), ask.with("week", monday.Add(7).String())
	}
	if found.Prev != (store.CasePlace{}) {
		p.First = ask.address(url.Values{})
	}
	if p.Without, err = d.caselessNamed(c, ask.Words); err != nil {
		return err
	}
	return d.render(c, http.StatusOK, "cases", p)
}

// newCasesPage says a page of cases in words.
func (d *Desk) newCasesPage(p page, found *casework.CasePage, ask caseAsk) *casesPage {
	out := &casesPage{page: p, Ask: ask, Table: d.newCaseTable(found.CaseList, d.Calendar.DateOf(d.Now())), Many: found.Many}
	out.Table.Says = "By day of surgery, the nearest first; those without a day before all. " + roomWords
	out.Ended = d.newCaseTable(casework.CaseList{Cases: found.Ended, Total: int64(len(found.Ended))}, d.Calendar.DateOf(d.Now()))
	out.Ended.ID, out.Ended.Title = "ended", "Cases that are over"
	out.Ended.Says = "Finished or called off, the latest day of surgery first. What still waits of one stands as its next step."
	for _, s := range shownStates {
		out.States = append(out.States, option{string(s), caseMarks[s].Word, string(s) == ask.State})
	}
	out.States = append(out.States, option{noDate, "without a date", ask.State == noDate})
	if found.Prev != (store.CasePlace{}) {
		out.Prev = ask.address(url.Values{"before": {found.Prev.Surgery}, "before-id": {found.Prev.ID}})
	}
	if found.Next != (store.CasePlace{}) {
		out.Next = ask.address(url.Values{"after": {found.Next.Surgery}, "id": {found.Next.ID}})
	}
	return out
}

func options(choices []casework.Choice, on string) []option {
	out := make([]option, 0, len(choices))
	for _, c := range choices {
		out = append(out, option{c.Value, c.Name, c.Value == on})
	}
	return out
}

// address is the list as it was asked for, with more.
func (a caseAsk) address(more url.Values) string {
	for name, value := range map[string]string{"week": a.Week, "state": a.State, "surgeon": a.Surgeon, "place": a.Place, "find": a.Words} {
		if value != "" && !more.Has(name) {
			more.Set(name, value)
		}
	}
	if len(more) == 0 {
		return Root + "/cases"
	}
	return Root + "/cases?" + more.Encode()
}

func (a caseAsk) with(name, value string) string { return a.address(url.Values{name: {value}}) }

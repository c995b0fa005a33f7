package desk

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

// caselessTable is bookings that opened no case.
type caselessTable struct {
	Title, Says, Empty, More string
	Total                    int64
	Lines                    []caselessLine
	Others                   []link // lists beside this one
}

// link leads to another page.
type link struct{ Address, Words string }

type caselessLine struct {
	Surgery, Far, Person, Phone, Number, Operation, Why, Since string
	Received                                                   string // address of what was received
	New                                                        bool
}

// caselessWords name the lists of bookings without an open case.
var caselessWords = map[string]struct{ name, says, empty string }{
	casework.CaselessJoint: {"Joint replacements to come", "Joint replacements and revisions of them that were booked and are not planned, each with the reason. Is one of them wrong? " +
		"Have the booking corrected in the record system: it is planned when it comes again. Otherwise nobody is prepared by this service.",
		"Every joint replacement to come that was booked has a plan."},
	casework.CaselessUnsaid: {"Not said which operation", "Orthopaedic surgery, or appointments without any code, to come: nothing says whether they are joint replacements. " +
		"Is one of them? Have its code sent: it is planned when it comes again.",
		"Every booking to come says which operation it is."},
	casework.CaselessUndated: {"Without a day", "Joint replacements that are ordered or proposed for no day yet. They are planned when the day comes.", "Every joint replacement has a day."},
	casework.CaselessAll:     {"All, past and others too", "Whatever was booked and has no open plan, with the reason: other operations, those called off, and those past as well.", "There is no such booking."},
}

var caselessLists = []string{casework.CaselessJoint, casework.CaselessUnsaid, casework.CaselessUndated, casework.CaselessAll}

const caselessTitle = "Bookings without a plan"

func (d *Desk) newCaselessTable(p *casework.CaselessPage, list string, today calendar.Date) caselessTable {
	w := caselessWords[list]
	t := caselessTable{Title: caselessTitle, Says: w.says, Empty: w.empty, Total: p.Total}
	for n := range p.Lines {
		b := &p.Lines[n]
		line := caselessLine{
			Surgery: "no day", Person: b.Person.Name, Phone: b.Person.Phone, Operation: b.Says, Why: sentence(b.Reason),
			Since: b.Since.Format("Mon 2 Jan 2006, 15:04"), Received: Root + "/received/" + b.Booking,
		}
		if !b.Day.IsZero() {
			line.Surgery, line.Far = b.Day.Format(dayWords), distance(b.Day, today)
		}
		if len(b.Person.Identifiers) > 0 {
			line.Number = b.Person.Identifiers[0]
		}
		t.Lines = append(t.Lines, line)
	}
	return t
}

// newMorningCaseless says what was booked and not planned, those that are new since
// the morning's start first; what is no joint replacement by its codes is left out,
// and what may be one is only counted: it would drown them.
func (d *Desk) newMorningCaseless(m *casework.Morning, today calendar.Date) caselessTable {
	t := d.newCaselessTable(&m.Without, casework.CaselessJoint, today)
	for n := range t.Lines {
		t.Lines[n].New = !m.Without.Lines[n].Since.Before(m.Since)
	}
	if m.Unsaid > 0 {
		t.Others = append(t.Others, link{caselessAddress(casework.CaselessUnsaid, "", store.UnplannedPlace{}),
			count(int(m.Unsaid), "booking") + " to come of which nothing says which operation it is"})
	}
	if m.Undated > 0 {
		t.Others = append(t.Others, link{caselessAddress(casework.CaselessUndated, "", store.UnplannedPlace{}),
			count(int(m.Undated), "joint replacement") + " without a day yet"})
	}
	if m.Without.Next != (store.UnplannedPlace{}) {
		t.More = caselessAddress(casework.CaselessJoint, "", store.UnplannedPlace{})
	}
	return t
}

func caselessAddress(list, words string, after store.UnplannedPlace) string {
	q := url.Values{"list": {list}}
	if words != "" {
		q.Set("find", words)
	}
	if after != (store.UnplannedPlace{}) {
		q.Set("after", after.Day)
		q.Set("booking", after.Booking)
	}
	return Root + "/unplanned?" + q.Encode()
}

// unplannedPage is a page of them.
type unplannedPage struct {
	page
	Table       caselessTable
	Lists       []option
	Words       string
	Many        bool
	First, Next string // addresses; empty: there is none
}

func (d *Desk) caselessPage(c *gin.Context) error {
	list, words := c.Query("list"), c.Query("find")
	if _, ok := caselessWords[list]; !ok {
		list = casework.CaselessJoint
	}
	q := casework.CaselessQuery{List: list, Words: words, Limit: casesRows, After: store.UnplannedPlace{Day: c.Query("after"), Booking: c.Query("booking")}}
	found, err := d.Office.Caseless(c.Request.Context(), q)
	if err != nil {
		return err
	}
	p := unplannedPage{
		page: d.newPage(c, caselessTitle, "/cases"), Table: d.newCaselessTable(found, list, d.Calendar.DateOf(d.Now())), Words: words, Many: found.Many,
	}
	for _, l := range caselessLists {
		p.Lists = append(p.Lists, option{l, caselessWords[l].name, l == list})
	}
	if q.After != (store.UnplannedPlace{}) {
		p.First = caselessAddress(list, words, store.UnplannedPlace{})
	}
	if found.Next != (store.UnplannedPlace{}) {
		p.Next = caselessAddress(list, words, found.Next)
	}
	return d.render(c, http.StatusOK, "unplanned", p)
}

// caselessNamed are the bookings without an open case of the people that somebody
// looks for among the cases; none where nobody is looked for.
func (d *Desk) caselessNamed(c *gin.Context, words string) (caselessTable, error) {
	if words == "" {
		return caselessTable{}, nil
	}
	found, err := d.Office.Caseless(c.Request.Context(), casework.CaselessQuery{List: casework.CaselessAll, Words: words, Limit: morningRows})
	if err != nil {
		return caselessTable{}, err
	}
	t := d.newCaselessTable(found, casework.CaselessAll, d.Calendar.DateOf(d.Now()))
	t.Says = "Booked for people who are called so, and without an open case, each with the reason."
	if found.Next != (store.UnplannedPlace{}) {
		t.More = caselessAddress(casework.CaselessAll, words, store.UnplannedPlace{})
	}
	return t, nil
}

// receivedPage is a booking as it was received.
type receivedPage struct {
	page
	casework.HeldBooking
	Number, When, Text string
}

func (d *Desk) receivedPage(c *gin.Context) error {
	b, err := d.Office.HeldBooking(c.Request.Context(), c.Param("type"), c.Param("id"))
	if err != nil {
		return err
	}
	p := receivedPage{page: d.newPage(c, "A booking as it was received", ""), HeldBooking: *b, When: b.Updated.Format("Mon 2 Jan 2006, 15:04")}
	if len(b.Person.Identifiers) > 0 {
		p.Number = b.Person.Identifiers[0]
	}
	var text bytes.Buffer
	if err := json.Indent(&text, b.Body, "", "  "); err != nil {
		return fmt.Errorf("a held booking: %w", err)
	}
	p.Text = text.String()
	return d.render(c, http.StatusOK, "received", p)
}

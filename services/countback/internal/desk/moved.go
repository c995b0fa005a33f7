package desk

import (
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
)

// movedPage is what would change with the operation on another day.
type movedPage struct {
	page
	ID, Person, Operation string
	From, To, Far         string
	State, Would          mark
	Presses               string // what has to be done for that day, whatever its state
	Cannot                []string
	Closed                string
	Holds                 []string
	Groups                []changeGroup
	Same                  bool // nothing would change
	Settled               int  // items that would stand as they do now
	MoveDay               string
	AskDay                string   // the day alone: whoever books gives the hour
	Seen                  string   // the day that stands, to notice that it moved meanwhile
	Asks                  bool     // it can be asked for
	Ask                   *askPart // what is asked for already
}

type changeGroup struct {
	Title, Says string
	Lines       []changeLine
}

type changeLine struct {
	Title, Who, Was, Would, Rule, Because string
	Mark                                  mark
	Earlier                               bool
}

func (d *Desk) movedPage(c *gin.Context) error {
	w, err := d.Office.WhatIf(c.Request.Context(), c.Param("id"), c.Query("to"))
	if err != nil {
		return err
	}
	return d.render(c, http.StatusOK, "moved", d.newMovedPage(d.newPage(c, "What if it moved", "/cases"), w))
}

// newMovedPage says what would change in words.
func (d *Desk) newMovedPage(p page, w *casework.WhatIf) *movedPage {
	v := w.Case
	out := &movedPage{
		page: p, ID: v.ID, Person: v.Person.Name, Operation: v.Operation, From: "no date", To: w.Day.Words(),
		Far: distance(w.Day.Day, d.Calendar.DateOf(v.Now)), State: caseMark(v.State, v.FindsOut(d.Calendar)), Would: caseMarks[w.State],
		Presses: w.Presses, Cannot: w.Cannot, Closed: w.Closed, Same: len(w.Changes) == 0, MoveDay: w.Day.Day.String(),
	}
	if !v.Surgery.IsZero() {
		out.From = v.Surgery.Words()
	}
	out.Slip = strings.Join(append([]string{v.Person.Name}, v.Person.Identifiers...), ", ") + " · only what would be if it moved to " + w.Day.Day.Format(dayWords)
	out.AskDay = w.Day.Day.Format(dayWords)
	out.Ask, out.Seen = d.newAskPart(v, &out.page), v.Surgery.Day.String()
	out.Asks = out.Ask == nil && w.Day.Day != v.Surgery.Day
	for _, h := range v.Holds {
		if h.Open {
			out.Holds = append(out.Holds, h.Sentence)
		}
	}
	groups := []changeGroup{
		{Title: "Asked for again", Says: "What was done no longer counts for that day."},
		{Title: "New", Says: "Items that are not in the plan now."},
		{Title: "Another time", Says: "The same items, counted from that day."},
		{Title: "Another state", Says: "At the same time as now."},
		{Title: "No longer in the plan"},
	}
	place := map[readiness.Kind]int{readiness.Reopened: 0, readiness.Added: 1, readiness.Moved: 2, readiness.Turned: 3, readiness.Dropped: 4}
	for _, c := range w.Changes {
		line := newChangeLine(c, w.Rules)
		if c.Old != nil && c.New != nil && line.Was == line.Would && markOf(c.Old) == markOf(c.New) {
			out.Settled++ // only its window differs, and nobody goes by that any more
			continue
		}
		n := place[c.Kind]
		groups[n].Lines = append(groups[n].Lines, line)
	}
	for _, g := range groups {
		if len(g.Lines) > 0 {
			out.Groups = append(out.Groups, g)
		}
	}
	return out
}

func newChangeLine(c readiness.Change, rules map[readiness.Key]string) changeLine {
	i := c.New
	if i == nil {
		i = c.Old
	}
	line := changeLine{Title: i.Step.Title, Mark: markOf(i), Rule: rules[i.Key], Because: i.Because}
	for _, p := range i.Step.Performers {
		if line.Who != "" {
			line.Who += ", "
		}
		line.Who += p.Display
	}
	if c.Old != nil {
		line.Was = whenWords(c.Old)
	}
	if c.New != nil {
		line.Would = whenWords(c.New)
	}
	line.Earlier = c.Old != nil && c.New != nil && before(c.New.Due.Day, c.Old.Due.Day)
	return line
}

func before(a, b calendar.Date) bool { return !a.IsZero() && !b.IsZero() && a < b }

// whenWords says when an item is due, and what it is if that says more.
func whenWords(i *readiness.Item) string {
	m := markOf(i)
	switch {
	case i.State == readiness.StateDone && !i.Entry.On.IsZero():
		return "done " + i.Entry.On.Format(dayWords)
	case !i.State.Waiting():
		return m.Word
	case i.Compressed:
		return "as soon as possible"
	case i.Due.IsZero():
		return "no date"
	}
	return "due " + i.Due.Words()
}

package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/services/countback/internal/casework"
)

const (
	morningRows = 25  // of each list
	moreRows    = 500 // of the one that somebody wants to see longer
)

// morningPage is what the day begins with.
type morningPage struct {
	page
	Now    pressList // who is called before all
	Lists  []pressList
	Danger caseTable
	Passed caseTable
	New    caseTable
	// Without are bookings that opened no case.
	Without caselessTable
	Alarms  []alarm
	Heard   bool // there is a source that was heard from
	// Deaf are receivers that do not take what they are told.
	Deaf  []alarm
	First string
}

// alarm is something about a source of messages that somebody must look into.
type alarm struct {
	Source, Says string
	People       []link // whom it is about
}

// pressList is items that are due or late.
type pressList struct {
	ID, Title, Says, Empty, More string
	Late, Due, Open              int64
	Count                        string // of what its rows are
	Lines                        []pressLine
}

type pressLine struct {
	itemLine
	CaseID, Person, Phone, Surgery, Far string
	Case                                mark
	GoesBy, GoesFar                     string // the day that the person still goes by, where they must be told of another
	Ready                               bool   // done may be said with one press
}

// caseTable is cases in a table.
type caseTable struct {
	ID, Title, Says, Empty, More string
	Total                        int64
	Lines                        []caseLine
}

type caseLine struct {
	ID, Person, Phone, Number, Operation, Surgeon, Place, Surgery, Far string
	State                                                              mark
	Holds                                                              string
	Why, Asked                                                         string
	Next, NextDue                                                      string
	Room                                                               string
	Tight                                                              string
	Short                                                              bool // no room is left
}

// listWords name the lists of items.
var listWords = map[string]struct{ title, says, empty string }{
	casework.ListNow:       {"Call these people now", "They reported a sign that cannot wait, or one that could not be ruled out.", ""},
	casework.ListDecisions: {"Decide", "Holds, reports and medicines that wait for somebody's decision. The most urgent first, then the nearest day of surgery; of one person what is late first.", "Nothing waits for a decision."},
	casework.ListCalls:     {"Call", "Tell people of a changed day; arrival calls, checks by telephone, and calls after discharge. Who has a must first, then by the nearest day of surgery or the one still gone by; operations past come last.", "Nobody has to be called."},
	casework.ListChase:     {"Chase", "Check-ups, results and signatures without which surgery does not go ahead. Nearest day of surgery first; of one person what is late first.", "Nothing has to be chased."},
	casework.ListFindOut:   {"To find out", "Surgery may not go ahead without these if they apply, their due day is over, and nobody has said whether they do. Nearest day of surgery first.", "Nothing is to find out."},
	casework.ListRest:      {"Follow up", "What patients, coaches and others still have to do. Who has a must first, then the nearest day of surgery; of one person what is late first.", "Nothing else is due."},
}

func (d *Desk) morningPage(c *gin.Context) error {
	opt := casework.MorningOptions{Rows: morningRows, Long: c.Query("more"), More: moreRows}
	m, err := d.Office.Morning(c.Request.Context(), opt)
	if err != nil {
		return err
	}
	feeds, err := d.Office.Feeds(c.Request.Context())
	if err != nil {
		return err
	}
	receivers, err := d.Office.Subscriptions(c.Request.Context())
	if err != nil {
		return err
	}
	out := d.newMorningPage(d.newPage(c, "This morning", "/"), m, feeds)
	out.Deaf = deaf(receivers)
	return d.render(c, http.StatusOK, "morning", out)
}

// newMorningPage says the morning in words.
func (d *Desk) newMorningPage(p page, m *casework.Morning, feeds []casework.Feed) *morningPage {
	today := d.Calendar.DateOf(m.Now)
	out := &morningPage{page: p, Alarms: append(movedAlarms(m.Moved), alarms(feeds)...), Heard: len(feeds) > 0}
	for _, l := range m.Lists {
		w := listWords[l.Name]
		list := pressList{ID: l.Name, Title: w.title, Says: w.says, Empty: w.empty, Late: l.Late, Due: l.Due, Open: l.Open}
		list.Count = pressCount(&l)
		for n := range l.Items {
			list.Lines = append(list.Lines, d.newPressLine(&l.Items[n], today, &p))
		}
		if int64(len(l.Items)) < l.Late+l.Due+l.Open && len(l.Items) < moreRows {
			list.More = Root + "?more=" + url.QueryEscape(l.Name) + "#" + l.Name
		}
		if l.Name == casework.ListNow {
			out.Now = list
			continue
		}
		out.Lists = append(out.Lists, list)
	}
	out.Danger = d.newCaseTable(m.Danger, today)
	out.Danger.ID, out.Danger.Title, out.Danger.Empty = "danger", "Surgery in danger", "No surgery is in danger."
	out.Danger.Says = "Held, behind, or booked for a day that can no longer be met. The nearest surgery first, those without a day last."
	if int64(len(m.Danger.Cases)) < m.Danger.Total {
		out.Danger.More = Root + "?more=danger#danger"
	}
	out.Passed = d.newCaseTable(m.Passed, today)
	out.Passed.ID, out.Passed.Title = "passed", "The day has passed"
	out.Passed.Says = "Was it done, or what is the new day? These stood as shown when their day came, and the record system has said neither. " +
		"Ask, and have it recorded there: the operation, or the new booking; or say on the case's page when the person came and went home. Until then nothing of them can be prepared."
	if int64(len(m.Passed.Cases)) < m.Passed.Total {
		out.Passed.More = Root + "?more=passed#passed"
	}
	out.New = d.newCaseTable(m.New, today)
	out.New.ID, out.New.Title, out.New.Empty = "new", "New bookings", "No new booking."
	out.New.Says = "Opened since " + m.Since.In(d.Calendar.Zone()).Format("Mon 2 Jan") + ", the newest first."
	if int64(len(m.New.Cases)) < m.New.Total {
		out.New.More = Root + "?more=new#new"
	}
	first := &out.Danger
	if len(first.Lines) == 0 {
		first = &out.New
	}
	first.Says += " " + roomWords
	out.Without = d.newMorningCaseless(m, today)
	return out
}

// pressCount counts what the rows of a list are.
func pressCount(l *casework.PressList) string {
	if l.Name == casework.ListFindOut {
		return fmt.Sprintf("%d to find out.", l.Late)
	}
	says := fmt.Sprintf("%d late, %d due", l.Late, l.Due)
	if l.Open > 0 {
		says += fmt.Sprintf(", %d to be released", l.Open)
	}
	return says + "."
}

func (d *Desk) newPressLine(i *casework.PressLine, today calendar.Date, p *page) pressLine {
	line := pressLine{
		itemLine: d.newItemLine(&i.ItemView, today, p), CaseID: i.CaseID, Person: i.Person.Name, Phone: i.Person.Phone,
		Surgery: i.Surgery.Words(), Far: distance(i.Surgery.Day, today), Case: caseMark(i.CaseWord, i.FindsOut),
	}
	if !i.Due.IsZero() && !line.Soon {
		line.Due += ", " + distance(i.Due.Day, today)
	}
	if day := i.GoesBy(); !day.IsZero() {
		line.GoesBy, line.GoesFar = day.Format(dayWords), distance(day, today)
	}
	if line.Acts.Sign { // there the advice stands beside it
		line.SignAt = Root + "/case/" + i.CaseID
	}
	line.Ready = line.Acts.Done && !line.Acts.Named && !line.Acts.Decides && !line.Acts.Chooses && !line.Acts.Grave
	return line
}

// roomWords say what room is, where it is shown first on a page.
const roomWords = "Room is how long the tightest must may still wait."

func (d *Desk) newCaseTable(l casework.CaseList, today calendar.Date) caseTable {
	t := caseTable{Total: l.Total}
	for n := range l.Cases {
		t.Lines = append(t.Lines, d.newCaseLine(&l.Cases[n], today))
	}
	return t
}

func (d *Desk) newCaseLine(c *casework.CaseLine, today calendar.Date) caseLine {
	line := caseLine{
		ID: c.ID, Person: c.Person.Name, Phone: c.Person.Phone, Operation: c.Operation, Surgeon: c.Surgeon, Place: c.Place, Surgery: c.Surgery.Words(),
		Far: distance(c.Surgery.Day, today), State: caseMark(c.State, c.FindsOut), Holds: strings.Join(c.Holds, ", "), Why: c.Why,
	}
	if len(c.Person.Identifiers) > 0 {
		line.Number = c.Person.Identifiers[0]
	}
	line.Asked = askedWords(c)
	if line.Why == "" && len(c.Late) > 0 {
		line.Why = "Late: " + strings.Join(c.Late, ", ") + "."
	}
	if c.Next != nil {
		line.Next = c.Next.Step.Title
		if !c.Next.Due.IsZero() {
			line.NextDue = "due " + c.Next.Due.Words()
		}
	}
	if c.HasRoom {
		line.Room, line.Tight, line.Short = "none", c.Tight, c.Room <= 0
		switch {
		case c.Room > 0:
			line.Room = count(c.Room, "day")
		case c.Room < 0:
			line.Room = count(-c.Room, "day") + " too late"
		}
	}
	return line
}

// alarms say what is wrong with a source of messages.
func alarms(feeds []casework.Feed) []alarm {
	var out []alarm
	for _, f := range feeds {
		var says []string
		if f.Silent && f.Awaited { // others may have nothing to say for weeks
			says = append(says, "silent for "+age(f))
		}
		if f.Refused > 0 {
			says = append(says, count(int(f.Refused), "message")+" refused since the service was started")
		}
		if f.Conflicts > 0 {
			says = append(says, count(int(f.Conflicts), "message")+" of the same order as what was held, and different")
		}
		if f.Ahead > 0 {
			says = append(says, count(int(f.Ahead), "message")+" with a time in the future")
		}
		if len(says) > 0 {
			out = append(out, alarm{Source: f.Source, Says: sentence(strings.Join(says, "; "))})
		}
	}
	return out
}

// movedAlarms say which records went to another person, the last first.
func movedAlarms(list []casework.MovedRecords) []alarm {
	var out []alarm
	for _, m := range list {
		are, these := "is", "it"
		if m.N > 1 {
			are, these = "are", "them"
		}
		a := alarm{Source: m.Source, Says: count(int(m.N), "record") + " (" + strings.Join(m.Types, ", ") + ") of " + named(m.Was) + " " + are + " now of " + named(m.Now) +
			", since " + m.Last.Format("Mon 2 Jan 2006, 15:04") + ". What followed from " + these + " for the first has ended, and nothing of that was carried over. Is that right? Else have " +
			these + " sent again with the right person."}
		for _, p := range []casework.Person{m.Was, m.Now} {
			if len(p.Identifiers) > 0 {
				a.People = append(a.People, link{Root + "/cases?find=" + url.QueryEscape(p.Identifiers[0]), "Find " + p.Name})
			}
		}
		out = append(out, a)
	}
	return out
}

// named is a person with the number that they are known by.
func named(p casework.Person) string {
	if len(p.Identifiers) == 0 {
		return p.Name
	}
	return p.Name + " (" + p.Identifiers[0] + ")"
}

// deaf names the receivers of notifications that do not take them, and why.
func deaf(receivers []casework.Standing) []alarm {
	var out []alarm
	for _, r := range receivers {
		if r.Error != "" {
			out = append(out, alarm{Source: r.Reason + " (Subscription " + r.ID + ")", Says: sentence(r.Error + "; waiting: " + count(int(r.Events-r.Delivered), "notification"))})
		}
	}
	return out
}

// age says how long a source has been silent.
func age(f casework.Feed) string {
	hours := int(f.Age.Hours())
	switch {
	case hours >= 48:
		return count(hours/24, "day")
	case hours >= 1:
		return count(hours, "hour")
	default:
		return count(int(f.Age.Minutes()), "minute")
	}
}

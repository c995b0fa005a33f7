package desk

import (
	"encoding/csv"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

const (
	weekDays  = 28 // how far ahead
	tightRoom = 3  // days of room at which a case is shown as tight
	plotRoles = 4  // roles with a pattern of their own; the rest are one
)

// weeksPage is the weeks ahead.
type weeksPage struct {
	page
	Roles     []string
	Work      []workRow
	Load      *plot
	Surgery   *plot
	Days      []surgeryRow
	Tight     caseTable
	Says      string
	Undecided int64
}

type workRow struct {
	Day    string
	Counts []int
	Total  int
	Closed string
}

type surgeryRow struct {
	Day, Closed       string
	Surgeries, Danger int
	FindsOut          int
}

func (d *Desk) weeks(c *gin.Context) (*casework.Weeks, error) {
	return d.Office.Weeks(c.Request.Context(), casework.WeeksOptions{Days: weekDays, Room: tightRoom})
}

func (d *Desk) weeksPage(c *gin.Context) error {
	w, err := d.weeks(c)
	if err != nil {
		return err
	}
	return d.render(c, http.StatusOK, "weeks", d.newWeeksPage(d.newPage(c, "The weeks ahead", "/weeks"), w))
}

// newWeeksPage says the weeks ahead in numbers and draws them.
func (d *Desk) newWeeksPage(p page, w *casework.Weeks) *weeksPage {
	today := d.Calendar.DateOf(w.Now)
	out := &weeksPage{page: p, Roles: w.Roles, Undecided: w.Undecided, Tight: d.newCaseTable(casework.CaseList{Cases: w.Tight, Total: int64(len(w.Tight))}, today)}
	out.Tight.ID, out.Tight.Title, out.Tight.Empty = "tight", "Likely to miss their day, and what binds them", "No surgery of these weeks is tight."
	out.Tight.Says = "Held, behind, not to be met, or with no more than " + count(tightRoom, "day") + " of room. " + roomWords
	out.Says = tightWords(w)
	for n := range w.Days {
		day := &w.Days[n]
		row := workRow{Day: day.Day.Words(), Closed: closedWords(day)}
		for _, role := range w.Roles {
			row.Counts = append(row.Counts, day.Items[role])
			row.Total += day.Items[role]
		}
		out.Work = append(out.Work, row)
		if day.Operating || day.Surgeries > 0 {
			out.Days = append(out.Days, surgeryRow{day.Day.Words(), closedWords(day), day.Surgeries, day.Danger, day.FindsOut})
		}
	}
	out.Load, out.Surgery = loadPlot(w), surgeryPlot(w)
	return out
}

// tightWords says which cases the list of tight ones was made from.
func tightWords(w *casework.Weeks) string {
	n := func(k int64) string { return strconv.FormatInt(k, 10) }
	says := n(w.Danger) + " of the " + n(w.Danger+w.Others) + " operations to come in these weeks are held, behind or not to be met"
	if w.FindsOut > 0 {
		says += ", and in " + n(w.FindsOut) + " of the others it is to find out whether a must past its due day applies"
	}
	if w.Listed < w.Danger {
		says += "; the next " + n(w.Listed) + " of them are listed here, and all of them under Cases"
	} else {
		says += "; all of them are listed here"
	}
	if w.Looked < w.Others {
		return says + ". Room was worked out for the next " + n(w.Looked) + " of the " + n(w.Others) + " others only: a later one may be tight, too."
	}
	return says + ". Room was worked out for all the others."
}

func closedWords(day *casework.WeekDay) string {
	switch {
	case day.Closed != "":
		return day.Closed
	case !day.Operating:
		return "no operating day"
	}
	return ""
}

// weeksTable gives one table of the weeks ahead as CSV.
func (d *Desk) weeksTable(c *gin.Context) error {
	w, err := d.weeks(c)
	if err != nil {
		return err
	}
	p := d.newWeeksPage(page{}, w)
	var rows [][]string
	name := c.Param("table")
	switch name {
	case "workload.csv":
		rows = append(rows, append(append([]string{"day"}, w.Roles...), "total", "closed"))
		for n, r := range p.Work {
			line := []string{w.Days[n].Day.Day.String()}
			for _, k := range r.Counts {
				line = append(line, strconv.Itoa(k))
			}
			rows = append(rows, append(line, strconv.Itoa(r.Total), r.Closed))
		}
	case "surgeries.csv":
		rows = append(rows, []string{"day", "surgeries", "in danger", "to find out", "closed"})
		for n := range w.Days {
			day := &w.Days[n]
			rows = append(rows, []string{day.Day.Day.String(), strconv.Itoa(day.Surgeries), strconv.Itoa(day.Danger), strconv.Itoa(day.FindsOut), closedWords(day)})
		}
	case "tight.csv":
		rows = append(rows, []string{"surgery", "number", "name", "state", "why", "room", "tightest"})
		for n, l := range p.Tight.Lines {
			rows = append(rows, []string{w.Tight[n].Surgery.Day.String(), l.Number, l.Person, l.State.Word, l.Why, l.Room, l.Tight})
		}
	default:
		return d.noRoute(c)
	}
	return sendTable(c, name, rows)
}

// sendTable answers with rows as CSV.
func sendTable(c *gin.Context, name string, rows [][]string) error {
	var out strings.Builder
	write := csv.NewWriter(&out)
	write.UseCRLF = true // RFC 4180
	for _, row := range rows {
		for n := range row {
			row[n] = inert(row[n])
		}
		if err := write.Write(row); err != nil {
			return err
		}
	}
	write.Flush()
	c.Header("Content-Disposition", `attachment; filename="`+name+`"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", []byte(out.String()))
	return nil
}

// inert keeps a spreadsheet from taking a text for a formula.
func inert(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

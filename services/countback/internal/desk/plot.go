package desk

import "example.org/countback/services/countback/internal/casework"

// Measures of a plot, in its own units.
const (
	plotWidth  = 900
	plotHeight = 220
	plotLeft   = 36
	plotTop    = 14
	plotFoot   = 34
)

// plot is columns over days; the table beside it holds the same numbers.
type plot struct {
	Name                             string
	Width, Height, Left, Right, Base int
	Columns                          []column
	Levels                           []level
	Keys                             []plotKey
}

type column struct {
	X, W, MidX   int
	Label        string // of the day; empty where there is no room
	Month        string
	Closed       bool
	Top, Tall    int // of the shade of a closed day
	Parts        []part
	Total, NumY  int
	TotalIsShown bool
}

type part struct {
	Y, H, Kind int
	Says       string
}

type level struct{ Y, N int }

type plotKey struct {
	Kind int
	Name string
}

// newPlot draws values[day][kind] in columns.
func newPlot(w *casework.Weeks, name string, keys []string, values [][]int) *plot {
	p := &plot{Name: name, Width: plotWidth, Height: plotHeight, Left: plotLeft, Right: plotWidth - 8, Base: plotHeight - plotFoot}
	for kind, name := range keys {
		p.Keys = append(p.Keys, plotKey{kind, name})
	}
	most := 1
	for _, day := range values {
		most = max(most, sum(day))
	}
	step := niceStep(most)
	top := (most + step - 1) / step * step
	y := func(n int) int { return p.Base - n*(p.Base-plotTop)/top }
	for n := 0; n <= top; n += step {
		p.Levels = append(p.Levels, level{y(n), n})
	}
	each := (p.Right - p.Left) / len(values)
	for n, day := range values {
		d := &w.Days[n]
		c := column{X: p.Left + n*each + 2, W: each - 4, Closed: !d.Operating, Top: plotTop, Tall: p.Base - plotTop, Total: sum(day)}
		c.MidX = c.X + c.W/2
		c.Label = d.Day.Day.Format("2")
		if n == 0 || d.Day.Day.Weekday() == 1 {
			c.Month = d.Day.Day.Format("Mon 2 Jan")
		}
		under := 0
		for kind, k := range day {
			if k > 0 {
				c.Parts = append(c.Parts, part{Y: y(under + k), H: y(under) - y(under+k), Kind: kind, Says: d.Day.Words() + ", " + keys[kind]})
				under += k
			}
		}
		c.NumY, c.TotalIsShown = y(under)-3, under > 0
		p.Columns = append(p.Columns, c)
	}
	return p
}

func sum(list []int) (total int) {
	for _, n := range list {
		total += n
	}
	return total
}

// niceStep is a distance of levels that gives four to eight of them.
func niceStep(most int) int {
	for step := 1; ; step *= 10 {
		for _, s := range []int{step, 2 * step, 5 * step} {
			if most <= 6*s {
				return s
			}
		}
	}
}

// loadPlot shows the items due by day, for those who have most to do.
func loadPlot(w *casework.Weeks) *plot {
	keys := w.Roles
	if len(keys) > plotRoles+1 {
		keys = append(append([]string{}, keys[:plotRoles]...), "everyone else")
	}
	values := make([][]int, len(w.Days))
	for n := range w.Days {
		values[n] = make([]int, len(keys))
		for k, role := range w.Roles {
			if len(keys) > 0 {
				values[n][min(k, len(keys)-1)] += w.Days[n].Items[role]
			}
		}
	}
	return newPlot(w, "items due by day", keys, values)
}

// surgeryPlot shows the surgeries by day, those in danger apart, and those of which
// something must be found out.
func surgeryPlot(w *casework.Weeks) *plot {
	values := make([][]int, len(w.Days))
	for n := range w.Days {
		values[n] = []int{w.Days[n].Surgeries - w.Days[n].Danger - w.Days[n].FindsOut, w.Days[n].Danger, w.Days[n].FindsOut}
	}
	return newPlot(w, "surgeries by day", []string{"as planned", "in danger", "to find out"}, values)
}

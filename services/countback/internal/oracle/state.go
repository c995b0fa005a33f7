package oracle

// caseState is the first that fits.
func (p *planner) caseState(plan Plan) string {
	home := !p.c.Left.IsZero() || p.byTheClock(plan.Discharge)
	// A hold that is open goes before somebody's arrival until the hour has come.
	came := !p.c.Arrived.IsZero() && (!p.c.Held || p.over(p.operation()))
	arrived := came || p.byTheClock(Moment{p.c.Surgery, p.c.Start})
	switch {
	case p.c.Cancelled:
		return "cancelled"
	case home && !leftToDo(plan.Items):
		return "closed"
	case home:
		return "home"
	case arrived:
		return "arrived"
	case p.c.Held:
		return "held"
	case len(plan.Infeasible) > 0:
		return "infeasible"
	case behind(plan.Items):
		return "behind"
	case p.ready(plan.Items):
		return "ready"
	}
	return "on-track"
}

// byTheClock: where nobody says what became of the person, the clock does; not of a
// case that is held, nor of one that was when its hour came, until somebody reports.
func (p *planner) byTheClock(m Moment) bool {
	if p.c.Held || p.heldThen() && !p.reported() {
		return false
	}
	return !m.At.IsZero() && !p.now.Before(m.At)
}

func (p *planner) reported() bool { return !p.c.Arrived.IsZero() || !p.c.Left.IsZero() }

// heldThen: a hold from before the hour had not ended before it.
func (p *planner) heldThen() bool {
	if p.operation().none() {
		return false
	}
	hour := p.ends(p.operation())
	for _, s := range p.c.Spans {
		if s.From.Before(hour) && !s.Until.Before(hour) {
			return true
		}
	}
	return false
}

// operation is when it is booked for: an hour, or a whole day.
func (p *planner) operation() Moment {
	if p.c.Start.IsZero() {
		return Moment{Day: p.c.Surgery}
	}
	return Moment{p.c.Surgery, p.c.Start}
}

func waiting(state string) bool {
	switch state {
	case "upcoming", "open", "due", "late", "paused":
		return true
	}
	return false
}

func leftToDo(items []Item) bool {
	for _, it := range items {
		if waiting(it.State) && it.Applies == Yes {
			return true
		}
	}
	return false
}

// behind: a must is late that could have been done in time. A fixed one that
// is late can only be confirmed.
func behind(items []Item) bool {
	for _, it := range items {
		if it.step.Need == Must && it.step.Trigger == "" && it.State == "late" && !it.step.Fixed {
			return true
		}
	}
	return false
}

// ready: no must waits whose last day is before the day of surgery, and none
// that is in doubt was missed.
func (p *planner) ready(items []Item) bool {
	if p.c.Surgery == 0 {
		return false
	}
	for _, it := range items {
		if it.step.Need != Must || it.step.Trigger != "" || it.Last.none() || it.Last.Day >= p.c.Surgery {
			continue
		}
		if waiting(it.State) || it.State == "missed" && it.Applies == Unknown && !p.failedBefore(it) {
			return false
		}
	}
	return true
}

// doubtful names the musts of the preparation that may turn out to apply when it
// is too late for them.
func (p *planner) doubtful(items []Item) []string {
	var list []string
	for _, it := range items {
		if it.Applies != Unknown || it.step.Need != Must || !waiting(it.State) || it.Last.none() || it.Last.Day > p.c.Surgery {
			continue
		}
		if it.TooLate || p.over(it.Last) || it.Opens.Day > it.Last.Day {
			list = append(list, it.name())
		}
	}
	return list
}

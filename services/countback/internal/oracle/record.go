package oracle

// shownBy takes for an item of which no person says anything what the records
// show, of those up to today that nobody objects to: the newest that counts.
// Before that, one that does not count is shown once, if it could have counted
// for some day of surgery when the operation was booked, and is older than the
// one that counts. It says whether such a one has been shown by now.
func (p *planner) shownBy(it *Item, lapsed bool) bool {
	var counts, does *Entry // does not
	var countsName, doesName string
	for _, r := range p.c.Records {
		objected := it.entry != nil && it.entry.Against == r.Name
		if r.Code != it.Code || r.Key != it.Key || objected || r.Done > p.place.dateOf(p.now) {
			continue
		}
		try := *it
		try.entry = p.asEntry(r, *it)
		switch {
		case !p.aged(try) && !p.tooEarly(try):
			if counts == nil || newer(try.entry.Done, r.Name, counts.Done, countsName) {
				counts, countsName = try.entry, r.Name
			}
		case r.InTime || r.Done < p.couldCount(it.step):
		case does == nil || newer(try.entry.Done, r.Name, does.Done, doesName):
			does, doesName = try.entry, r.Name
		}
	}
	if !lapsed && does != nil && (counts == nil || does.Done < counts.Done) {
		it.entry, it.Record = does, doesName
		return true
	}
	if counts != nil {
		it.entry, it.Record = counts, countsName
	}
	return lapsed
}

// newer: of a later day, or of the same day and first by name.
func newer(done Day, name string, other Day, otherName string) bool {
	return done > other || done == other && name < otherName
}

// asEntry takes a record for an entry. It was done for the day of surgery that
// stands if it lies in the window, up to that day, or after it where the step
// itself does. Without a day on which the window opens, the booking opens it.
func (p *planner) asEntry(r Record, it Item) *Entry {
	entry := &Entry{Code: r.Code, Key: r.Key, Kind: "done", Done: r.Done, Until: r.Until}
	opens := it.Opens.Day
	if it.Opens.none() {
		opens = p.place.dateOf(p.c.Booked)
	}
	late := p.c.Surgery != 0 && r.Done > p.c.Surgery && !it.step.withSurgery()
	if r.Done >= opens && !late {
		entry.For, entry.ForStart, entry.Under = p.c.Surgery, p.c.Start, p.c.Under
	}
	return entry
}

// withSurgery: the step opens on the day of surgery or later.
func (s *Step) withSurgery() bool {
	for _, point := range s.Opens {
		if point.From == Discharge || point.From == Surgery && point.N >= 0 {
			return true
		}
	}
	return false
}

// couldCount is the first day on which it could have been done to count for some
// day of surgery from the booking on.
func (p *planner) couldCount(step *Step) Day {
	day := p.place.dateOf(p.c.Booked)
	if step.Expiry.Kind == "days" {
		for range step.Expiry.Days {
			day--
		}
	}
	return day
}

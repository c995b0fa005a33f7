package readiness_test

import (
	"fmt"
	"testing"

	"example.org/countback/pkg/readiness"
)

// fullSize is a protocol of the size of the default one: 84 steps of every kind,
// a sixth with a condition, and a chain of three.
func fullSize(b *testing.B) *readiness.Protocol {
	var steps []readiness.Step
	pets := condition(b, "pets")
	for n := range 84 {
		s := step(fmt.Sprintf("step-%d", n), before(42-n%20, 7))
		switch n % 6 {
		case 1:
			s.Performers, s.Window = nurse, window(days(readiness.AnchorBooking, 0), business(readiness.AnchorBooking, 3))
		case 2:
			s.Window, s.Fixed = readiness.Window{Due: points(hours(surgery0, -2-n%7))}, true
		case 3:
			s.Condition = pets
		case 4:
			s.Performers, s.Window = nurse, window(days(readiness.AnchorDischarge, n%10), days(readiness.AnchorDischarge, n%10+5))
		}
		if n%7 != 0 {
			s.Need = readiness.Should
		}
		s.Expiry = readiness.Expiry{Kind: readiness.ThisDate}
		steps = append(steps, s)
	}
	steps = append(steps, after("read", 1, days(surgery0, -7), "step-0"), after("agreed", 1, days(surgery0, -5), "read"))
	return protocol(b, steps...)
}

// One plan of a protocol of the default one's size.
func BenchmarkMake(b *testing.B) {
	cal, p := chicago(b), fullSize(b)
	c := surgeryOn(b, cal, "2026-11-30")
	now := clock(b, cal, "2026-11-10 09:00")
	b.ReportAllocs()
	for b.Loop() {
		readiness.Make(&c, p, cal, now)
	}
}

// The earliest day of such a protocol, tried over 400 days.
func BenchmarkEarliestFullSize(b *testing.B) {
	cal, p := chicago(b), fullSize(b)
	p.Horizon = 400
	c := surgeryOn(b, cal, "2026-11-30")
	now := clock(b, cal, "2026-11-29 09:00")
	b.ReportAllocs()
	for b.Loop() {
		if readiness.Earliest(&c, p, cal, now).Run < 200 {
			b.Fatal("it tries a year of days")
		}
	}
}

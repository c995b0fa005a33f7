package calendar_test

import (
	"testing"
	"time"

	"example.org/countback/pkg/calendar"
)

func BenchmarkAddBusinessDays(b *testing.B) {
	c, d := facility(b, "America/Denver", "us-federal"), day(b, "2026-11-30")
	for b.Loop() {
		if c.AddBusinessDays(d, -60).IsZero() {
			b.Fatal("no date")
		}
	}
}

func BenchmarkAt(b *testing.B) {
	c := facility(b, "America/Denver", "none")
	for _, at := range []struct{ name, date string }{
		{"plain", "2026-11-30"},
		{"gap", "2027-03-14"},
		{"repeat", "2026-11-01"},
	} {
		b.Run(at.name, func(b *testing.B) {
			d := day(b, at.date)
			for b.Loop() {
				if c.At(d, 2, 30).IsZero() {
					b.Fatal("no time")
				}
			}
		})
	}
}

func BenchmarkYMD(b *testing.B) {
	d := day(b, "2026-11-30")
	for b.Loop() {
		if y, _, _ := d.YMD(); y != 2026 {
			b.Fatal("wrong year")
		}
	}
}

func BenchmarkNew(b *testing.B) {
	set := holidays(b, "us-federal")
	for b.Loop() {
		if _, err := calendar.New(calendar.Options{Zone: time.UTC, Holidays: set}); err != nil {
			b.Fatal(err)
		}
	}
}

package translate

import (
	"fmt"
	"time"

	"example.org/countback/pkg/readiness"
)

// AskRow is the stored form of a request for another day of surgery.
type AskRow struct {
	N       int       `json:"n"`  // the first is 1
	On      string    `json:"on"` // the version of the booking that stood then
	Day     string    `json:"day"`
	Instead string    `json:"was,omitempty"`
	At      time.Time `json:"at"`
	By      string    `json:"by"`
	Reason  string    `json:"why"`
	Against string    `json:"but,omitempty"`
	Met     string    `json:"met,omitempty"`
	MetOn   string    `json:"met-on,omitempty"`
}

// Key is the key of what the request raises: it begins with the version of the
// booking that it is about.
func (r *AskRow) Key() string { return fmt.Sprintf("%s#%d", r.On, r.N) }

// Ask is the request as the rules know it.
func (r *AskRow) Ask(f Facility) readiness.Ask {
	return readiness.Ask{
		Key: r.Key(), Day: DayOf(r.Day), Instead: DayOf(r.Instead), At: r.At.In(f.Calendar.Zone()), By: r.By, Reason: r.Reason,
		Against: r.Against, Met: r.Met, MetOn: DayOf(r.MetOn),
	}
}

// Why is the reason of the request, which is free text: [FreeReason] where words
// are not wanted.
func (r *AskRow) Why(words bool) string {
	if words || r.Reason == "" {
		return r.Reason
	}
	return FreeReason
}

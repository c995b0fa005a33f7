package app

import (
	"fmt"
	"net/http"

	"example.org/countback/services/countback/internal/store"
)

// adminHandler serves health and metrics, on their own listener so that no
// proxy in front of the API passes them on.
func (a *App) adminHandler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintln(w, "ok")
	})
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		if err := a.db.Read(r.Context(), func(*store.Tx) error { return nil }); err != nil {
			http.Error(w, "the database does not answer", http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "ok")
		// A silent feed does not make this copy unready: none would be ready.
		feeds, err := a.feeds(r.Context())
		if err != nil {
			return
		}
		for _, f := range feeds {
			if f.Silent && f.name != others {
				fmt.Fprintf(w, "feed %s is silent\n", f.name)
			}
		}
		subscriptions, err := a.Office.Subscriptions(r.Context())
		if err != nil {
			return
		}
		for _, s := range subscriptions {
			if s.Error != "" {
				fmt.Fprintf(w, "subscription %s is %s\n", s.ID, s.Status)
			}
		}
	})
	mux.HandleFunc("GET /metrics", a.metrics)
	return mux
}

// metrics writes the figures that an operator watches, in the text format that
// monitoring systems scrape. Labels hold codes only.
func (a *App) metrics(w http.ResponseWriter, r *http.Request) {
	counts, err := a.Office.Counts(r.Context())
	if err != nil {
		http.Error(w, "the database does not answer", http.StatusServiceUnavailable)
		return
	}
	feeds, err := a.feeds(r.Context())
	if err != nil {
		http.Error(w, "the database does not answer", http.StatusServiceUnavailable)
		return
	}
	subscriptions, err := a.Office.Subscriptions(r.Context())
	if err != nil {
		http.Error(w, "the database does not answer", http.StatusServiceUnavailable)
		return
	}
	s := a.relay.Stats()
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	fmt.Fprintf(w, "# TYPE countback_events_published_total counter\ncountback_events_published_total %d\n", s.Published)
	fmt.Fprintf(w, "# TYPE countback_events_failed_total counter\ncountback_events_failed_total %d\n", s.Failed)
	fmt.Fprintf(w, "# TYPE countback_events_waiting gauge\ncountback_events_waiting %d\n", counts.Waiting)
	fmt.Fprintf(w, "# TYPE countback_timers_failing gauge\ncountback_timers_failing %d\n", counts.Resting)
	fmt.Fprintf(w, "# TYPE countback_open_cases gauge\ncountback_open_cases %d\n", counts.Open)
	fmt.Fprintf(w, "# TYPE countback_open_cases_on_older_protocol gauge\ncountback_open_cases_on_older_protocol %d\n", counts.Older)
	fmt.Fprintln(w, "# TYPE countback_cases gauge")
	for _, c := range counts.Cases {
		fmt.Fprintf(w, "countback_cases{state=%q} %d\n", c.State, c.N)
	}
	feedMetrics(w, feeds)
	a.subscriptionMetrics(w, subscriptions)
	a.hl7Metrics(w)
}

package app

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"regexp"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/casework"
)

// others is the name under which sources that no setting names are counted
// together: what a sender calls itself is no label, it could hold anything.
const others = "other"

var feedName = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,31}$`)

// feedNames reads -feeds: NAME=SOURCE, and so on. It gives the names by source.
func (c *Config) feedNames() (map[string]string, error) {
	out, used := map[string]string{}, map[string]bool{others: true}
	for one := range strings.SplitSeq(c.Feeds, ",") {
		if one = strings.TrimSpace(one); one == "" {
			continue
		}
		name, source, _ := strings.Cut(one, "=")
		if _, err := url.Parse(source); err != nil || source == "" || !feedName.MatchString(name) || used[name] || out[source] != "" {
			return nil, fmt.Errorf("-feeds: %q is no NAME=SOURCE with a name of its own (a-z, 0-9, - and _; not %q) and a source as in meta.source", one, others)
		}
		out[source], used[name] = name, true
	}
	return out, nil
}

// named is how it stands with the sources of one name.
type named struct {
	casework.Feed
	name string
}

// feeds gives the sources that a setting names, and the others together.
func (a *App) feeds(ctx context.Context) ([]named, error) {
	list, err := a.Office.Feeds(ctx)
	if err != nil {
		return nil, err
	}
	var out []named
	rest := named{name: others}
	for _, f := range list {
		if name := a.feedNames[f.Source]; name != "" {
			out = append(out, named{f, name})
			continue
		}
		if rest.Last.Before(f.Last) {
			rest.Last, rest.Age = f.Last, f.Age
		}
		rest.Messages += f.Messages
		rest.Superseded += f.Superseded
		rest.Conflicts += f.Conflicts
		rest.Ahead += f.Ahead
		rest.Refused += f.Refused
	}
	return append(out, rest), nil
}

// feedMetrics writes the figures of each source.
func feedMetrics(w io.Writer, list []named) {
	for _, m := range []struct {
		name, kind string
		value      func(named) any
	}{
		{"messages_total", "counter", func(f named) any { return f.Messages }},
		{"superseded_total", "counter", func(f named) any { return f.Superseded }},
		{"conflicts_total", "counter", func(f named) any { return f.Conflicts }},
		{"ahead_total", "counter", func(f named) any { return f.Ahead }},
		{"refused_total", "counter", func(f named) any { return f.Refused }},
		{"silent", "gauge", func(f named) any {
			if f.Silent {
				return 1
			}
			return 0
		}},
	} {
		fmt.Fprintf(w, "# TYPE countback_feed_%s %s\n", m.name, m.kind)
		for _, f := range list {
			fmt.Fprintf(w, "countback_feed_%s{feed=%q} %v\n", m.name, f.name, m.value(f))
		}
	}
	fmt.Fprintln(w, "# TYPE countback_feed_age_seconds gauge")
	for _, f := range list {
		if !f.Last.IsZero() || f.Awaited {
			fmt.Fprintf(w, "countback_feed_age_seconds{feed=%q} %.0f\n", f.name, max(f.Age, 0).Seconds())
		}
	}
	fmt.Fprintln(w, "# TYPE countback_feed_newest_seconds gauge")
	for _, f := range list {
		if !f.Newest.IsZero() {
			fmt.Fprintf(w, "countback_feed_newest_seconds{feed=%q} %d\n", f.name, f.Newest.Unix())
		}
	}
}

// alarms says in the log when a source falls silent, and when it is heard from
// again, once each.
func (a *App) alarms(ctx context.Context) error {
	t := time.NewTicker(alarmEvery)
	defer t.Stop()
	silent := map[string]bool{}
	for {
		a.alarm(ctx, silent)
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

func (a *App) alarm(ctx context.Context, silent map[string]bool) {
	list, err := a.feeds(ctx)
	if err != nil {
		if ctx.Err() == nil {
			a.log.Error("feeds", "error", err)
		}
		return
	}
	for _, f := range list {
		switch {
		case f.Silent && !silent[f.name]:
			a.log.Warn("a feed is silent", "feed", f.name, "for", f.Age.Round(time.Second).String())
		case !f.Silent && silent[f.name]:
			a.log.Info("a feed is heard from again", "feed", f.name)
		}
		silent[f.name] = f.Silent
	}
}

package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/mllp"
	"example.org/countback/services/countback/internal/siu"
)

// hl7Finish is how long messages in hand have to be finished when the service ends.
const hl7Finish = 10 * time.Second

// hl7Options reads -hl7-system: AUTHORITY=URI or @SENDER=ZONE, separated by
// commas, or a file with one of these a line, where what follows # at the
// beginning of a line is a remark.
func (c *Config) hl7Options(facility *time.Location) (siu.Options, error) {
	o := siu.Options{Systems: map[string]string{}, Zones: map[string]*time.Location{}, Zone: facility}
	lines := strings.Split(c.HL7System, ",")
	if c.HL7System != "" && !strings.Contains(c.HL7System, "=") {
		text, err := os.ReadFile(c.HL7System)
		if errors.Is(err, fs.ErrNotExist) {
			return o, fmt.Errorf("-hl7-system: %q is neither AUTHORITY=URI nor a file", c.HL7System)
		}
		if err != nil {
			return o, fmt.Errorf("-hl7-system: %w", err)
		}
		lines = strings.Split(string(text), "\n")
	}
	for _, line := range lines {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		if err := hl7Name(&o, line); err != nil {
			return o, err
		}
	}
	return o, nil
}

// hl7Name reads one line of -hl7-system.
func hl7Name(o *siu.Options, line string) error {
	name, means, _ := strings.Cut(line, "=")
	name, means = strings.TrimSpace(name), strings.TrimSpace(means)
	if source, ok := strings.CutPrefix(name, "@"); ok {
		zone, err := time.LoadLocation(means)
		if err != nil || means == "" || o.Zones[source] != nil {
			return fmt.Errorf("-hl7-system: %q is no @SENDER=ZONE with a time zone, or the second for one sender", line)
		}
		o.Zones[source] = zone
		return nil
	}
	u, err := url.Parse(means)
	if err != nil || name == "" || u.Scheme == "" || strings.ContainsAny(means, " |") || o.Systems[name] != "" {
		return fmt.Errorf("-hl7-system: %q is no AUTHORITY=URI with a URI such as https://registry.example/person or urn:oid:2.999, or the second for one authority", line)
	}
	o.Systems[name] = means
	return nil
}

// hl7 takes HL7 version 2, if a setting says where.
func (a *App) hl7(zone *time.Location) error {
	read, err := a.cfg.hl7Options(zone)
	if err != nil || a.v2Listener == nil {
		return err
	}
	l := a.v2Listener
	a.v2 = mllp.New(mllp.Options{Office: a.Office, Read: read, Log: a.log, Now: a.Clock.Now})
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := a.v2.Serve(l); err != nil {
			a.failed <- fmt.Errorf("hl7: %w", err)
		}
	}()
	a.onClose("hl7 server", func() error {
		ctx, cancel := context.WithTimeout(context.Background(), hl7Finish)
		defer cancel()
		if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			return err
		}
		<-done
		return a.v2.Close(ctx)
	})
	return nil
}

// HL7Addr is where HL7 version 2 is taken, host and port; empty for nowhere.
func (a *App) HL7Addr() string {
	if a.v2Listener == nil {
		return ""
	}
	return a.v2Listener.Addr().String()
}

// hl7Metrics writes the figures of the inlet for HL7 version 2, where there is one.
func (a *App) hl7Metrics(w io.Writer) {
	if a.v2 == nil {
		return
	}
	f := a.v2.Figures()
	fmt.Fprintf(w, "# TYPE countback_hl7_connections gauge\ncountback_hl7_connections %d\n", f.Connections)
	fmt.Fprintln(w, "# TYPE countback_hl7_answers_total counter")
	for _, code := range slices.Sorted(maps.Keys(f.Answers)) {
		fmt.Fprintf(w, "countback_hl7_answers_total{code=%q} %d\n", code, f.Answers[code])
	}
}

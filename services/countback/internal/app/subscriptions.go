package app

import (
	"bufio"
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/notify"
	"example.org/countback/services/countback/internal/subscription"
)

// secretFile lies in the data folder where no secret is set.
const secretFile = "subscriptions.secret"

// Length of a secret in bytes: at least as long as what is signed with it, and
// what is made here where none is set.
const (
	minSecret  = 32
	madeSecret = 48
)

// receivers is what the file of -subscriptions says.
type receivers struct {
	casework.Receivers
	secret []byte
}

// receivers reads the file of -subscriptions, lines of a name and a value, and the
// secret: that of the file, else that in the data folder, which is made once.
func (c *Config) receivers() (receivers, error) {
	var out receivers
	if c.Subscriptions != "" {
		file, err := os.Open(c.Subscriptions)
		if err != nil {
			return out, fmt.Errorf("-subscriptions: %w", err)
		}
		defer file.Close()
		if err := out.read(file); err != nil {
			return out, fmt.Errorf("-subscriptions: %w", err)
		}
	}
	if out.secret != nil {
		return out, nil
	}
	var err error
	if out.secret, err = secretIn(c.Data); err != nil {
		return out, fmt.Errorf("the secret that notifications are signed with: %w", err)
	}
	return out, nil
}

// read takes a line at a time: name, value, and # before what is only for people.
// An error names the line and never what a secret is.
func (r *receivers) read(file io.Reader) error {
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		line, _, _ := strings.Cut(lines.Text(), "#")
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		if name == "" {
			continue
		}
		if err := r.set(name, strings.TrimSpace(value)); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
	return lines.Err()
}

func (r *receivers) set(name, value string) error {
	switch name {
	case "secret":
		secret, err := base64.StdEncoding.DecodeString(value)
		if err != nil || len(secret) < minSecret {
			return fmt.Errorf("secret: base64 of at least %d bytes is needed", minSecret)
		}
		r.secret = secret
	case "off-after":
		d, err := time.ParseDuration(value)
		if err != nil || d < time.Minute || d > casework.MostOffAfter {
			return fmt.Errorf("off-after: a time from 1m to %s is needed", casework.MostOffAfter)
		}
		r.OffAfter = d
	case "allow":
		switch value {
		case "http":
			r.Policy.Plain = true
		case "link-local":
			r.Policy.LinkLocal = true
		default:
			return errors.New("allow: http or link-local can be allowed")
		}
	default:
		return errors.New("the names are secret, off-after and allow")
	}
	return nil
}

// secretIn reads the secret in a folder, or makes it.
func secretIn(dir string) ([]byte, error) {
	path := filepath.Join(dir, secretFile)
	secret, err := readSecret(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return secret, err
	}
	secret = make([]byte, madeSecret)
	_, _ = rand.Read(secret) // never fails
	return secret, os.WriteFile(path, []byte(base64.StdEncoding.EncodeToString(secret)+"\n"), 0o600)
}

// readSecret reads a file that holds the secret and nothing else.
func readSecret(path string) ([]byte, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	secret, err := base64.StdEncoding.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(secret) < minSecret {
		return nil, fmt.Errorf("%s is not base64 of at least %d bytes", filepath.Base(path), minSecret)
	}
	return secret, nil
}

// notifies sends notifications to those who subscribed.
func (a *App) notifies(r receivers) error {
	ctx, cancel := context.WithCancel(context.Background())
	a.onClose("watch of events", func() error { cancel(); return nil })
	var err error
	a.notifier, err = notify.New(notify.Options{
		// A receiver looks at its own clock, which does not stand still with ours.
		Office: a.Office, Changed: a.db.Watch(ctx), Now: time.Now, Secret: r.secret, Policy: r.Policy, Log: a.log,
	})
	if err != nil {
		return err
	}
	a.loop("notifications", a.notifier.Run)
	return nil
}

// subscriptionMetrics writes how it stands with those who subscribed.
func (a *App) subscriptionMetrics(w io.Writer, list []casework.Standing) {
	s := a.notifier.Stats()
	fmt.Fprintf(w, "# TYPE countback_notifications_sent_total counter\ncountback_notifications_sent_total %d\n", s.Sent)
	fmt.Fprintf(w, "# TYPE countback_notifications_failed_total counter\ncountback_notifications_failed_total %d\n", s.Failed)
	by, waiting := map[string]int{}, int64(0)
	for _, one := range list {
		by[one.Status]++
		waiting += one.Events - one.Delivered
	}
	fmt.Fprintf(w, "# TYPE countback_notifications_waiting gauge\ncountback_notifications_waiting %d\n", waiting)
	fmt.Fprintln(w, "# TYPE countback_subscriptions gauge")
	for _, status := range []string{subscription.Requested, subscription.Active, subscription.Failing, subscription.Off} {
		fmt.Fprintf(w, "countback_subscriptions{status=%q} %d\n", status, by[status])
	}
}

package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"example.org/countback/services/countback/internal/notify"
)

// NotificationsOptions say where notifications are taken.
type NotificationsOptions struct {
	Listen   string // host:port
	Endpoint string // as the Subscription names it; empty: http://LISTEN/
	Data     string // folder of the service, in which its secret lies
	Most     int    // leave after so many lines; 0: never
	// Ready is told the endpoint once it listens; may be nil.
	Ready func(endpoint string)
}

// Notifications is the reference receiver as a command: it takes what a service
// sends, checks that it is signed with its secret, and writes each event as one
// line of JSON. What never came is said on warn.
func Notifications(ctx context.Context, o NotificationsOptions, out, warn io.Writer) error {
	secret, err := readSecret(filepath.Join(o.Data, secretFile))
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return err
	}
	if o.Endpoint == "" {
		o.Endpoint = "http://" + l.Addr().String() + "/"
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	n := 0
	s := &http.Server{
		ReadHeaderTimeout: readHeaderTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout,
		Handler: &notify.Receiver{
			Secret: secret, Target: o.Endpoint, Now: time.Now,
			Handle: func(r notify.Received) error {
				line, err := json.Marshal(r)
				if err != nil {
					return err
				}
				if _, err := fmt.Fprintf(out, "%s\n", line); err != nil {
					return err
				}
				if n++; n == o.Most {
					stop()
				}
				return nil
			},
			Gap: func(subscription string, first, last int64) {
				fmt.Fprintf(warn, "events %d to %d never came: GET %s/$events?eventsSinceNumber=%d\n", first, last, subscription, first)
			},
		},
	}
	context.AfterFunc(ctx, func() {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		_ = s.Shutdown(end) // what was taken was answered, or is sent again
	})
	if o.Ready != nil {
		o.Ready(o.Endpoint)
	}
	fmt.Fprintf(warn, "taking notifications at %s\n", o.Endpoint)
	if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

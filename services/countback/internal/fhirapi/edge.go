package fhirapi

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// Keys of what the middleware keeps with a request.
const (
	requestIDKey = "request-id"
	failureKey   = "failure"
)

// Header names of the R4 customs about ids of requests: the server's own, and
// the client's as it was sent.
const (
	requestIDHeader     = "X-Request-Id"
	correlationIDHeader = "X-Correlation-Id"
)

// identify gives the request an id of our own. A client's id goes back to the
// client, and nowhere else: nobody knows what is in it.
func (s *server) identify(c *gin.Context) {
	id := make([]byte, 12)
	_, _ = rand.Read(id) // never fails
	c.Set(requestIDKey, hex.EncodeToString(id))
	h := c.Writer.Header()
	h.Set(requestIDHeader, c.GetString(requestIDKey))
	if sent := c.GetHeader(requestIDHeader); harmless(sent) {
		h.Set(correlationIDHeader, sent)
	}
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
}

// harmless reports whether a client's id may go into a header.
func harmless(id string) bool {
	if id == "" || len(id) > 128 {
		return false
	}
	for _, c := range []byte(id) {
		if c <= ' ' || c >= 0x7f {
			return false
		}
	}
	return true
}

// access writes one line a request.
func (s *server) access(c *gin.Context) {
	start := s.Now()
	defer func() {
		status := c.Writer.Status()
		attrs := []slog.Attr{
			slog.String("method", knownMethod(c.Request.Method)),
			slog.String("route", route(c)),
			slog.Int("status", status),
			slog.Duration("duration", s.Now().Sub(start).Round(time.Microsecond)),
			slog.String("request_id", c.GetString(requestIDKey)),
		}
		level := slog.LevelInfo
		if status >= http.StatusInternalServerError {
			level = slog.LevelError
		}
		if text := c.GetString(failureKey); text != "" {
			attrs = append(attrs, slog.String("error", text))
		}
		s.Log.LogAttrs(c.Request.Context(), level, "request", attrs...)
	}()
	c.Next()
}

// route is the template of the route, which holds no ids.
func route(c *gin.Context) string {
	if path := c.FullPath(); path != "" {
		return path
	}
	return "none"
}

// knownMethod keeps invented methods out of the log.
func knownMethod(m string) string {
	if slices.Contains([]string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}, m) {
		return m
	}
	return "other"
}

// recover answers a panic with the request id and nothing else. What panicked
// may hold anything, so only its type is logged, with the places in the code.
func (s *server) recover(c *gin.Context) {
	defer func() {
		p := recover()
		if p == nil {
			return
		}
		if p == http.ErrAbortHandler {
			panic(p)
		}
		s.Log.LogAttrs(c.Request.Context(), slog.LevelError, "panic",
			slog.String("type", fmt.Sprintf("%T", p)), slog.String("stack", places(debug.Stack())),
			slog.String("request_id", c.GetString(requestIDKey)))
		if c.Writer.Written() {
			c.Abort()
			return
		}
		s.fail(c, errPanicked)
	}()
	c.Next()
}

// places keeps the files and lines of a stack, without values of arguments.
func places(stack []byte) string {
	var out []string
	for line := range strings.Lines(string(stack)) {
		if line = strings.TrimSpace(line); strings.Contains(line, ".go:") {
			place, _, _ := strings.Cut(line, " +0x")
			out = append(out, place)
		}
	}
	return strings.Join(out, " < ")
}

// fail answers with what the error becomes, and notes for the log what the
// sender is not told.
func (s *server) fail(c *gin.Context, err error) {
	f := failureOf(s.cancelled(c, err))
	issues := f.outcome(err, c.GetString(requestIDKey))
	s.note(c, f, err)
	if f.retry {
		c.Header("Retry-After", fmt.Sprint(retryAfter))
	}
	c.Abort()
	c.Data(f.status, mediaType, issues.OperationOutcome())
}

// cancelled tells the end of a request's context from a failure of its own:
// what fails after the client went fails because of that.
func (s *server) cancelled(c *gin.Context, err error) error {
	if cause := c.Request.Context().Err(); cause != nil && failureOf(err).status >= http.StatusInternalServerError {
		return cause
	}
	return err
}

// note keeps the text of a failure of ours for the access log.
func (s *server) note(c *gin.Context, f failure, err error) {
	if f.status >= http.StatusInternalServerError {
		c.Set(failureKey, casework.Loggable(err))
	}
}

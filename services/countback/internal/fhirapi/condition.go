package fhirapi

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

// conditions are the headers of a request, or their like in a Bundle entry,
// that say when it is to be carried out.
type conditions struct {
	ifMatch, ifNoneMatch, ifNoneExist, ifModifiedSince string
}

// check refuses conditions that do not belong to the interaction: to ignore one
// would do what the sender wanted to prevent. It brings If-Match into the form
// W/"n".
func (c *conditions) check(a *ask) error {
	writes := a.kind.writes()
	for _, rule := range []struct {
		value, name, text string
		legal             bool
	}{
		{c.ifMatch, "ifMatch", "If-Match names the version that an update changes", a.kind.changes()},
		{c.ifNoneExist, "ifNoneExist", "If-None-Exist belongs to a create (POST)", a.kind == create},
		{c.ifNoneMatch, "ifNoneMatch", "If-None-Match belongs to a read", !writes},
		{c.ifModifiedSince, "ifModifiedSince", "If-Modified-Since belongs to a read", !writes},
	} {
		if rule.value != "" && !rule.legal {
			return casework.Refuse(casework.ErrMalformed, fhir.CodeInvariant, a.element(rule.name), rule.text+", and cannot be used here")
		}
	}
	if c.ifMatch == "" {
		return nil
	}
	v, ok := parseETag(c.ifMatch)
	if !ok {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeValue, a.element("ifMatch"),
			`If-Match names one version as it was given in ETag, such as W/"3"`)
	}
	c.ifMatch = etag(v)
	return nil
}

// element names a part of the request: in a Bundle by its path, else nothing,
// as a header is no element.
func (a *ask) element(name string) string {
	if a.at == "" {
		return ""
	}
	return a.at + ".request." + name
}

// etag is a version as a header: weak, as R4 writes it.
func etag(version int64) string { return `W/"` + strconv.FormatInt(version, 10) + `"` }

// parseETag reads one entity tag. R4 compares weakly: W/"3" and "3" are the
// same.
func parseETag(s string) (int64, bool) {
	s = strings.TrimPrefix(strings.TrimSpace(s), "W/")
	if len(s) < 3 || s[0] != '"' || s[len(s)-1] != '"' {
		return 0, false
	}
	return parseVersion(s[1 : len(s)-1])
}

// parseVersion reads a version id of ours: 1, 2, 3 …, without leading zeros.
func parseVersion(s string) (int64, bool) {
	v, err := strconv.ParseInt(s, 10, 64)
	return v, err == nil && v > 0 && strconv.FormatInt(v, 10) == s
}

// unchanged reports whether the client has the version already. As RFC 9110
// says, If-Modified-Since counts only without If-None-Match.
func (c *conditions) unchanged(s store.Stored) bool {
	if c.ifNoneMatch != "" {
		return strings.TrimSpace(c.ifNoneMatch) == "*" || slices.ContainsFunc(strings.Split(c.ifNoneMatch, ","), func(tag string) bool {
			v, ok := parseETag(tag)
			return ok && v == s.Version
		})
	}
	since, ok := parseSince(c.ifModifiedSince)
	return ok && !s.Updated.Truncate(time.Second).After(since)
}

// parseSince reads an HTTP date, or the instant that a Bundle entry has.
func parseSince(s string) (time.Time, bool) {
	if t, err := http.ParseTime(s); err == nil {
		return t, true
	}
	d, err := fhir.ParseInstant(s)
	if err != nil {
		return time.Time{}, false
	}
	return d.Instant()
}

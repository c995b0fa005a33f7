package search

import (
	"encoding/base64"
	"errors"
	"net/url"
	"strconv"
	"strings"
)

// errCursor says that a cursor is not one of ours or of another search.
var errCursor = errors.New("not a page of this search")

// maxCursor bounds what is decoded.
const maxCursor = 4096

// Cursor is the opaque text that continues the search after a row with these
// sort keys, one for each of q.Sort.
func (q Query) Cursor(keys []Key) string {
	var b strings.Builder
	b.WriteString(q.fingerprint())
	for i, o := range q.Sort {
		b.WriteByte(' ')
		if o.isDate() {
			b.WriteString(strconv.FormatInt(keys[i].At, 10))
		} else {
			b.WriteString(url.QueryEscape(keys[i].Text))
		}
	}
	return base64.RawURLEncoding.EncodeToString([]byte(b.String()))
}

// parseCursor is the inverse of Cursor.
func (q Query) parseCursor(s string) ([]Key, error) {
	if len(s) > maxCursor {
		return nil, errCursor
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(s)
	if err != nil {
		return nil, errCursor
	}
	parts := strings.Split(string(raw), " ")
	if len(parts) != len(q.Sort)+1 || parts[0] != q.fingerprint() {
		return nil, errCursor
	}
	keys := make([]Key, len(q.Sort))
	for i, o := range q.Sort {
		part := parts[i+1]
		if !o.isDate() {
			if keys[i].Text, err = url.QueryUnescape(part); err != nil {
				return nil, errCursor
			}
			continue
		}
		at, err := strconv.ParseInt(part, 10, 64)
		if err != nil {
			return nil, errCursor
		}
		keys[i].At = at
	}
	// Line ends between the letters and needless escapes read the same.
	if q.Cursor(keys) != s {
		return nil, errCursor
	}
	return keys, nil
}

package store

import (
	"errors"

	"github.com/klauspost/compress/s2"
)

// Bodies are text that repeats itself: compressed they take about a fifth, and
// what a commit waits for is mostly the bytes that it writes.

// packFrom is the size from which compressing pays.
const packFrom = 256

// mark begins every packed body, and no JSON text.
const mark = 0x01

// pack is a body as it is stored. What begins like a packed one is packed
// whatever its size, so that unpacking cannot mistake it.
func pack(body []byte) []byte {
	if len(body) < packFrom && !isPacked(body) {
		return body
	}
	out := make([]byte, 1+s2.MaxEncodedLen(len(body)))
	out[0] = mark
	return out[:1+len(s2.EncodeBetter(out[1:], body))]
}

func isPacked(b []byte) bool { return len(b) > 0 && b[0] == mark }

// packed is a column that holds a packed body.
type packed struct{ body *[]byte }

// Scan implements sql.Scanner.
func (p packed) Scan(src any) error {
	b, ok := src.([]byte)
	switch {
	case src == nil:
		*p.body = nil
		return nil
	case !ok:
		return errors.New("column does not hold bytes")
	case !isPacked(b):
		*p.body = append([]byte{}, b...)
		return nil
	}
	var err error
	*p.body, err = s2.Decode(nil, b[1:])
	return err
}

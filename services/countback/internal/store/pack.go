package store

import (
	"errors"

	"github.com/klauspost/compress/zstd"
)

// Bodies are text that repeats itself: compressed they take about a fifth, and
// what a commit waits for is mostly the bytes that it writes.

// packFrom is the size from which compressing pays.
const packFrom = 256

// magic begins every zstd frame, and no JSON text.
const magic = "\x28\xb5\x2f\xfd"

var (
	packer, _   = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	unpacker, _ = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))
)

// pack is a body as it is stored. What begins like a compressed one is
// compressed whatever its size, so that unpacking cannot mistake it.
func pack(body []byte) []byte {
	if len(body) < packFrom && !isPacked(body) {
		return body
	}
	return packer.EncodeAll(body, make([]byte, 0, len(body)/3))
}

func isPacked(b []byte) bool { return len(b) >= len(magic) && string(b[:len(magic)]) == magic }

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
	*p.body, err = unpacker.DecodeAll(b, nil)
	return err
}

package mllp

import (
	"bufio"
	"errors"
)

const (
	frameBegin = 0x0B
	frameEnd   = 0x1C
	afterEnd   = '\r'
)

var (
	errFraming = errors.New("what came is no frame")
	errTooLong = errors.New("the message is larger than is taken")
)

// readFrame reads the next message. It calls began when the first byte of a frame
// has come. Of a message that is too long it gives the beginning, with errTooLong;
// one that is longer than passOver bytes is errFraming.
func readFrame(r *bufio.Reader, limit, passOver int, began func()) ([]byte, error) {
	for {
		b, err := r.ReadByte()
		if err != nil {
			return nil, err
		}
		if b == frameBegin {
			break
		}
		if b != '\r' && b != '\n' { // ends of lines between frames harm nobody
			return nil, errFraming
		}
	}
	began()
	var out []byte
	for size := 0; ; size++ {
		b, err := r.ReadByte()
		switch {
		case err != nil:
			return nil, err
		case b == frameBegin, size > passOver:
			return nil, errFraming
		case b == frameEnd:
			if b, err = r.ReadByte(); err != nil {
				return nil, err
			}
			if b != afterEnd {
				return nil, errFraming
			}
			if size > limit {
				return out, errTooLong
			}
			return out, nil
		case size < limit:
			out = append(out, b)
		}
	}
}

// framed is a message as it is sent.
func framed(message []byte) []byte {
	return append(append([]byte{frameBegin}, message...), frameEnd, afterEnd)
}

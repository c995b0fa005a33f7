package store

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"sync"
	"time"
)

// clock gives times that never go back within the process, nor a little behind
// what an earlier one stored.
type clock struct {
	now  func() time.Time
	mu   sync.Mutex
	last time.Time
}

func (c *clock) read() time.Time {
	now := c.now().Truncate(time.Microsecond)
	c.mu.Lock()
	defer c.mu.Unlock()
	if now.Before(c.last) {
		return c.last
	}
	c.last = now
	return now
}

// ids makes UUIDv7 (RFC 9562) that rise strictly within the process: 48 bits
// of milliseconds, then 74 bits that start at random and are counted up, by a
// random step, while the millisecond stays.
type ids struct {
	mu     sync.Mutex
	ms     int64
	hi     uint16 // 12 bits
	lo     uint64 // 62 bits
	random [512]byte
	unread int
}

func (g *ids) draw() uint64 {
	if g.unread < 8 {
		rand.Read(g.random[:]) // never fails: it ends the process instead
		g.unread = len(g.random)
	}
	g.unread -= 8
	return binary.BigEndian.Uint64(g.random[g.unread:])
}

const lo62 = 1<<62 - 1

func (g *ids) next(now time.Time) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	if ms := now.UnixMilli(); ms > g.ms {
		r := g.draw()
		g.ms, g.hi = ms, uint16(r>>52)&0x7ff // the top bit stays free to count into
		g.lo = g.draw() & lo62
	} else {
		g.lo += g.draw()&(1<<40-1) + 1
		if g.lo > lo62 {
			g.lo &= lo62
			g.hi++
		}
		if g.hi > 0xfff {
			g.hi = 0
			g.ms++
		}
	}
	return format(g.ms, g.hi, g.lo)
}

func format(ms int64, hi uint16, lo uint64) string {
	var b [16]byte
	binary.BigEndian.PutUint64(b[:8], uint64(ms)<<16|0x7000|uint64(hi))
	binary.BigEndian.PutUint64(b[8:], 1<<63|lo)
	var s [36]byte
	hex.Encode(s[:8], b[:4])
	s[8] = '-'
	hex.Encode(s[9:13], b[4:6])
	s[13] = '-'
	hex.Encode(s[14:18], b[6:8])
	s[18] = '-'
	hex.Encode(s[19:23], b[8:10])
	s[23] = '-'
	hex.Encode(s[24:], b[10:])
	return string(s[:])
}

package mllp

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// Messages about one person that come at once over two connections, one of them
// with a further number of theirs first, make one person, whichever is stored first.
func TestOnePersonOverTwoConnections(t *testing.T) {
	const pairs = 8
	in := open(t)
	release := in.hold()
	var senders []*line
	for n := range pairs {
		for k, ids := range []string{"P-%d^^^REG", "M-%[1]d^^^2.999.1~P-%[1]d^^^REG"} {
			text := fmt.Sprintf("MSH|^~\\&|THEATRE|MEADOWFOLD|||20261005101500-0500||SIU^S12|%d|P|2.5.1\r"+
				"SCH||A-%[1]d^THEATRE|||||||||^^^20261130073000^20261130093000\r"+
				"PID|||%[2]s||Canary^Number||19510302|F\rAIS|||0SRD0J9^Left knee^I10P\r", 2*n+k, fmt.Sprintf(ids, n))
			senders = append(senders, in.dial())
			senders[len(senders)-1].put(framed([]byte(text)))
		}
	}
	require.Eventually(t, func() bool { return in.busyNow() == 2*pairs }, 10*time.Second, time.Millisecond)
	release()
	for _, s := range senders {
		code, _, m := s.answered()
		require.Equal(t, "AA", code, string(m.Print()))
	}
	require.NoError(t, in.db.Read(t.Context(), func(tx *store.Tx) error {
		for n := range pairs {
			ids, err := tx.ByIdentifier("Patient", "https://registry.meadowfold.example/person", fmt.Sprintf("P-%d", n))
			require.NoError(t, err)
			require.Len(t, ids, 1)
		}
		return nil
	}))
}

// busyNow is how many connections have a message in hand.
func (in *inlet) busyNow() (n int) {
	in.mu.Lock()
	defer in.mu.Unlock()
	for _, busy := range in.conns {
		if busy {
			n++
		}
	}
	return n
}

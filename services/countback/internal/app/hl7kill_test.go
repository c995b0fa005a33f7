package app

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// v2Booking is the new booking of person n, a left knee.
func v2Booking(n int) []byte {
	return fmt.Appendf(nil, "MSH|^~\\&|THEATRE|MEADOWFOLD|||20261005101500-0500||SIU^S12|K%d|P|2.5.1\r"+
		"SCH||A-%[1]d^THEATRE|||||||||^^^20261130073000^20261130093000\r"+
		"PID|||P-%[1]d^^^REG||Testperson^Number%[1]d||19510302|F\rAIS|||0SRD0J9^Left knee^I10P\r", n)
}

// v2Served is a server process that takes HL7 version 2.
type v2Served struct {
	cmd        *exec.Cmd
	base, addr string
}

func serveV2(t *testing.T, dir string) v2Served {
	t.Helper()
	api, admin, addr := freePort(t), freePort(t), freePort(t)
	cmd := command(t, "serve", "-data", dir, "-addr", api, "-admin", admin, "-today", "2026-10-06", "-hl7-listen", addr, "-hl7-system", hl7Systems)
	require.NoError(t, cmd.Start())
	require.Eventually(t, func() bool {
		resp, err := http.Get("http://" + admin + "/readyz")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == 200
	}, 20*time.Second, 5*time.Millisecond)
	return v2Served{cmd: cmd, base: "http://" + api + "/fhir", addr: addr}
}

// TestHL7AnswerLost ends the server with SIGKILL after the message was committed,
// and before its answer was read: sent again to the server that is started anew,
// it is answered AA, changes nothing, and there is one plan.
func TestHL7AnswerLost(t *testing.T) {
	dir := t.TempDir()
	k := serveV2(t, dir)
	line := v2Dial(t, k.addr)
	require.NoError(t, line.put(v2Booking(1)))
	require.Eventually(t, func() bool { // committed
		_, body := send(t, "GET", k.base+"/Appointment?_summary=count", nil)
		var b struct{ Total int }
		return json.Unmarshal(body, &b) == nil && b.Total == 1
	}, 20*time.Second, time.Millisecond)
	require.NoError(t, k.cmd.Process.Kill())
	_ = k.cmd.Wait()
	http.DefaultClient.CloseIdleConnections()

	cfg := hl7Settings(t)
	cfg.Data = dir
	a := started(t, cfg)
	before := versions(t, a)
	answer := v2Dial(t, a.HL7Addr()).send(t, v2Booking(1))
	require.Equal(t, "AA", answer.All("MSA")[0].Value(1, 1))
	require.Equal(t, before, versions(t, a))
	require.Len(t, found(t, a, "CarePlan"), 1)
}

// TestHL7Killed ends the server at any moment while bookings are sent one after
// another, and sends what was not answered again, as senders do: every booking is
// there once, with one whole plan, and none that was answered is lost.
func TestHL7Killed(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, seed))
	dir := t.TempDir()
	next := 0
	for range 3 {
		k := serveV2(t, dir)
		dead := make(chan struct{})
		time.AfterFunc(time.Duration(30+rng.IntN(150))*time.Millisecond, func() {
			_ = k.cmd.Process.Kill()
			_ = k.cmd.Wait()
			close(dead)
		})
		line := v2Dial(t, k.addr)
		for {
			if line.put(v2Booking(next)) != nil {
				break
			}
			answer, err := line.answer()
			if err != nil {
				break
			}
			require.Equal(t, "AA", answer.All("MSA")[0].Value(1, 1), "seed %d", seed)
			next++
		}
		<-dead
	}
	cfg := hl7Settings(t)
	cfg.Data = dir
	a := started(t, cfg)
	answer := v2Dial(t, a.HL7Addr()).send(t, v2Booking(next)) // the last one was never answered
	require.Equal(t, "AA", answer.All("MSA")[0].Value(1, 1))
	plans := map[string]int{}
	for _, raw := range found(t, a, "CarePlan?_count=200") {
		var p struct {
			Subject struct{ Reference string }
		}
		require.NoError(t, json.Unmarshal(raw, &p))
		plans[p.Subject.Reference]++
	}
	require.Len(t, plans, next+1, "seed %d", seed)
	require.Len(t, found(t, a, "Appointment?_count=200"), next+1)
	for person, n := range plans {
		require.Equal(t, 1, n, "%s, seed %d", person, seed)
	}
	t.Logf("%d bookings, 3 kills, seed %d", next+1, seed)
}

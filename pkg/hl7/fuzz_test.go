package hl7

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// FuzzParse: Parse never panics; what it reads, it reads again from what Print
// writes, and Print writes that as it did before. Whatever came, an answer to it
// can be read.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		sample, "MSH|^~\\&|", "MSH$%*!@#$A$\rPID$1!F!2$x%y@z*w!S!!R!!E!!T!!P!$50!$!X41C3A9!$!Zoo!", "MSH|^~\\&|||||||||||||||||8859/1\rPID|\xf6\\XE9\\\x01",
		"MSH|^~\\&#|a\\", "PID|1", "MSH|^~\\&\r\nNTE|\\X0D\\|\\.br\\|\\E\\X0D\\E\\~~^&&|\"\"\n\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		m, err := Parse(in)
		answer, ackErr := Parse(Ack{Code: Accept, ID: "1", Now: time.Unix(0, 0).UTC()}.Print(m))
		require.NoError(t, ackErr)
		require.Len(t, answer.All("MSA"), 1)
		require.Equal(t, m.Header().Value(10, 1), answer.All("MSA")[0].Value(2, 1))
		if err != nil {
			require.ErrorAs(t, err, new(Fault))
			return
		}
		printed := m.Print()
		again, err := Parse(printed)
		require.NoError(t, err, "%q", printed)
		require.Equal(t, m, again)
		require.Equal(t, string(printed), string(again.Print()))
		for n := range m.Segments {
			for field := range m.Segments[n].Fields {
				ParseTime(m.Segments[n].Value(field, 1), time.UTC)
			}
		}
	})
}

package mllp

import (
	"bufio"
	"io"
	"net"
	"os"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// short is a listener that gives errors first.
type short struct {
	net.Listener
	errs []error
}

func (s *short) Accept() (net.Conn, error) {
	if len(s.errs) == 0 {
		return s.Listener.Accept()
	}
	err := s.errs[0]
	s.errs = s.errs[1:]
	return nil, &net.OpError{Op: "accept", Net: "tcp", Err: err}
}

// A machine that is short of open files for a moment loses no service by it; an
// error that does not pass is told.
func TestConnectionsAreTakenAgain(t *testing.T) {
	in := open(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() {
		served <- in.Serve(&short{l, []error{os.NewSyscallError("accept4", syscall.EMFILE), syscall.ECONNABORTED}})
	}()
	conn, err := net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	sender := &line{conn, t, bufio.NewReader(conn)}
	sender.put(framed(message(1)))
	code, _, _ := sender.answered()
	require.Equal(t, "AA", code)
	require.NoError(t, conn.Close())
	require.NoError(t, l.Close())
	require.NoError(t, <-served)
	require.Contains(t, in.log.String(), "could not be taken")
	require.ErrorIs(t, in.Serve(&short{l, []error{io.ErrUnexpectedEOF}}), io.ErrUnexpectedEOF)
}

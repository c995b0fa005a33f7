package store

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// complete checks that a case is there with all that its write held, or not at
// all, and gives the ids of those that are.
func complete(t *testing.T, folder string) map[string]bool {
	t.Helper()
	db, err := Open(context.Background(), Options{Path: folder, Now: standing, ClockCorrected: true}) // the killed one had the real clock
	require.NoError(t, err)
	defer db.Close()
	var check string
	got := caseIDs(t, db)
	rows, err := db.Unpublished(context.Background(), 1<<20)
	require.NoError(t, err)
	require.Len(t, rows, 2*len(got))
	read(t, db, func(tx *Tx) error {
		for id := range got {
			items, err := tx.Items(id)
			require.NoError(t, err)
			require.Len(t, items, 60)
		}
		return tx.one([]any{&check}, `PRAGMA integrity_check`)
	})
	require.Equal(t, "ok", check)
	return got
}

// The files as they lie on the disk in the middle of a write, and after it.
func TestCopyInTheMiddle(t *testing.T) {
	db := open(t)
	content := newBooking()
	for range 5 {
		write(t, db, content.write)
	}
	middle, after := t.TempDir(), t.TempDir()
	write(t, db, func(tx *Tx) error {
		if err := content.write(tx); err != nil {
			return err
		}
		copyFiles(t, db.options.Path, middle)
		return nil
	})
	copyFiles(t, db.options.Path, after)
	require.Len(t, complete(t, middle), 5)
	require.Len(t, complete(t, after), 6)
}

func copyFiles(t *testing.T, from, to string) {
	t.Helper()
	for _, name := range []string{File, File + "-wal"} {
		in, err := os.Open(filepath.Join(from, name))
		require.NoError(t, err)
		defer in.Close()
		out, err := os.Create(filepath.Join(to, name))
		require.NoError(t, err)
		_, err = io.Copy(out, in)
		require.NoError(t, err)
		require.NoError(t, out.Close())
	}
}

const crashVariable = "COUNTBACK_STORE_CRASH_FOLDER"

// crashWriter is what the test binary does when TestKill starts it again: it
// writes until it is killed and prints the id of each answered write.
func crashWriter() bool {
	folder := os.Getenv(crashVariable)
	if folder == "" {
		return false
	}
	db, err := Open(context.Background(), Options{Path: folder, Now: time.Now, checkpointPages: 50})
	if err != nil {
		panic(err)
	}
	content := newBooking()
	for range 8 {
		go func() {
			for {
				var id string
				err := db.Write(context.Background(), func(tx *Tx) error {
					if err := content.write(tx); err != nil {
						return err
					}
					ids, err := tx.texts(`SELECT id FROM care_case ORDER BY id DESC LIMIT 1`)
					id = strings.Join(ids, "")
					return err
				})
				if err != nil {
					panic(err)
				}
				fmt.Println(id)
			}
		}()
	}
	select {}
}

// A killed process loses no write that it answered and leaves none in part,
// while groups are committed and the log is moved all the time.
func TestKill(t *testing.T) {
	folder := t.TempDir()
	total := 0
	for round := range 3 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), crashVariable+"="+folder)
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		answered := map[string]bool{}
		lines := bufio.NewScanner(out)
		for len(answered) < 40+17*round && lines.Scan() {
			answered[lines.Text()] = true
		}
		require.NoError(t, cmd.Process.Kill())
		for lines.Scan() { // answered before it was killed
			if len(lines.Text()) == 36 {
				answered[lines.Text()] = true
			}
		}
		require.Error(t, cmd.Wait(), "it was killed")
		got := complete(t, folder)
		for id := range answered {
			require.True(t, got[id], "an answered write is lost")
		}
		total += len(answered)
		require.GreaterOrEqual(t, len(got), total)
	}
}

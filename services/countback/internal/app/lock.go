package app

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// ErrInUse says that another process works in the data folder.
var ErrInUse = errors.New("another process uses this data folder")

// lockFolder keeps other processes out of a data folder until the function it
// gives back is called: two brokers on one store would lose events. The lock
// goes with the process, also when that is killed.
func lockFolder(dir string) (release func() error, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := lockFile(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("-data %s: %w", dir, ErrInUse)
	}
	return f.Close, nil
}

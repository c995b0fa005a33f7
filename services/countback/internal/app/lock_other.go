//go:build !unix

package app

import "os"

// lockFile cannot keep others out on this system.
func lockFile(*os.File) error { return nil }

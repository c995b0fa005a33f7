package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// tried is one test of one package: what it costs and which mutants it reaches.
type tried struct {
	judge   int
	name    string
	took    time.Duration
	reaches map[int]bool
}

type trial struct {
	root, dir     string
	near, verbose bool
	tests         []tried
}

func (t *trial) binary(judge int) string { return filepath.Join(t.dir, fmt.Sprintf("judge%d", judge)) }

func (t *trial) build(overlay string) error {
	for i, p := range judges {
		if t.near && i >= near {
			continue
		}
		cmd := exec.Command("go", "test", "-c", "-vet=off", "-overlay", overlay, "-o", t.binary(i), "./"+p.dir)
		cmd.Dir = t.root
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("build the tests of %s: %w\n%s", p.dir, err, out)
		}
	}
	return nil
}

// ask runs the tests whose names pattern matches, with a mutant awake (0: none).
func (t *trial) ask(judge int, pattern string, awake int, notes string, limit time.Duration) error {
	ctx, stop := context.WithTimeout(context.Background(), limit)
	defer stop()
	cmd := exec.CommandContext(ctx, t.binary(judge), "-test.failfast", "-test.run", pattern)
	cmd.Dir = filepath.Join(t.root, judges[judge].dir)
	cmd.Env = append(os.Environ(), "MUTANT="+strconv.Itoa(awake), "MUTANT_NOTES="+notes)
	cmd.WaitDelay = time.Second
	return cmd.Run()
}

// reach runs every test alone, nothing awake, and notes what it reaches.
func (t *trial) reach() error {
	for i, j := range judges {
		if t.near && i >= near {
			continue
		}
		out, err := exec.Command(t.binary(i), "-test.list", j.tests).Output()
		if err != nil {
			return err
		}
		for _, name := range strings.Fields(string(out)) {
			if strings.HasPrefix(name, "Test") {
				t.tests = append(t.tests, tried{judge: i, name: name, reaches: map[int]bool{}})
			}
		}
	}
	err := t.each(len(t.tests), func(i int) error {
		test := &t.tests[i]
		notes := filepath.Join(t.dir, fmt.Sprintf("notes%d", i))
		began := time.Now()
		if err := t.ask(test.judge, "^"+test.name+"$", 0, notes, 10*time.Minute); err != nil {
			return fmt.Errorf("%s fails without a mutant: %w", test.name, err)
		}
		test.took = time.Since(began)
		b, err := os.ReadFile(notes)
		if os.IsNotExist(err) {
			return nil
		}
		for _, id := range strings.Fields(string(b)) {
			n, _ := strconv.Atoi(id)
			test.reaches[n] = true
		}
		return err
	})
	slices.SortFunc(t.tests, func(a, b tried) int { return int(a.took - b.took) })
	return err
}

// each calls f for 0..n-1, one call a processor at a time.
func (t *trial) each(n int, f func(int) error) error {
	var wg sync.WaitGroup
	var once sync.Once
	var first error
	next := make(chan int)
	for range runtime.NumCPU() {
		wg.Go(func() {
			for i := range next {
				if err := f(i); err != nil {
					once.Do(func() { first = err })
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	return first
}

// killer is the test that noticed the mutant, "" when none did.
func (t *trial) killer(m mutant) string {
	const together = 12
	for judge := range judges {
		if t.near && judges[judge].dir != filepath.Dir(m.File) {
			continue
		}
		var names []string
		var took time.Duration
		flush := func() string {
			if len(names) == 0 {
				return ""
			}
			err := t.ask(judge, "^("+strings.Join(names, "|")+")$", m.ID, "", 20*time.Second+5*took)
			last := names[len(names)-1]
			names, took = nil, 0
			if err != nil {
				return judges[judge].dir + " up to " + last
			}
			return ""
		}
		for _, test := range t.tests {
			if test.judge != judge || !test.reaches[m.ID] {
				continue
			}
			names, took = append(names, regexp.QuoteMeta(test.name)), took+test.took
			if len(names) == together {
				if by := flush(); by != "" {
					return by
				}
			}
		}
		if by := flush(); by != "" {
			return by
		}
	}
	return ""
}

// judge tries the mutants and tells what became of them.
func (t *trial) judge(mutants []mutant, explained string, seed uint64) error {
	var mu sync.Mutex
	var killed, known int
	var lived []mutant
	t.each(len(mutants), func(i int) error {
		by := t.killer(mutants[i])
		mu.Lock()
		defer mu.Unlock()
		switch m := mutants[i]; {
		case by != "":
			killed++
			if t.verbose {
				fmt.Printf("killed by %s: %s\n", by, m)
			}
		case strings.Contains(explained, "\n"+m.key()+"\n"):
			known++
		default:
			lived = append(lived, m)
			fmt.Println("LIVED", m)
		}
		return nil
	})
	fmt.Printf("%d mutants, seed %d: %d killed (%.1f %%), %d lived and are explained, %d lived\n", len(mutants), seed, killed,
		100*float64(killed)/float64(len(mutants)), known, len(lived))
	if len(lived) > 0 || killed*10 < len(mutants)*9 {
		return fmt.Errorf("%d mutants lived that nobody explained", len(lived))
	}
	return nil
}

// key names a mutant for survivors.txt; it has no line number, which other
// changes would move.
func (m mutant) key() string { return filepath.Base(m.File) + ": " + m.Was + " => " + m.Is }

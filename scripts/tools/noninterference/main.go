// Command noninterference tries the product's promise at length: change any private
// field that is neither a released fact nor movement, and what leaves is the same
// bytes or none. With -plant it tries the trial itself: it builds the product with
// deliberate leaks, and each must be caught.
//
//	scripts/noninterference [-changes 10000] [-seed N]
//	scripts/noninterference -plant
package main

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

const (
	property = "^TestPrivateChangesLeaveNoTrace$"
	room     = "./internal/noninterference"
)

// traces are the ways in which the property says that it was broken.
var traces = []string{"a private change left a trace", "movement changed more than the letter", "reads otherwise"}

func main() {
	changes := flag.Int("changes", 10_000, "how many private changes to make")
	seed := flag.Uint64("seed", 0, "the seed of the changes (default: a new one)")
	plant := flag.Bool("plant", false, "build deliberate leaks, and see whether each is caught")
	flag.Usage = func() {
		fmt.Fprintln(flag.CommandLine.Output(), "usage: scripts/noninterference [-changes N] [-seed N] [-plant]")
		flag.PrintDefaults()
	}
	flag.Parse()
	if flag.NArg() > 0 || *changes < 1 {
		flag.Usage()
		os.Exit(2)
	}
	root, err := moduleRoot()
	if err == nil && *plant {
		err = tryPlants(root)
	} else if err == nil {
		err = tryLong(root, *changes, *seed)
	}
	if err != nil {
		fmt.Fprintf(os.Stderr, "noninterference: %v\n", err)
		os.Exit(1)
	}
}

func moduleRoot() (string, error) {
	out, err := exec.Command("go", "env", "GOMOD").Output()
	if err != nil {
		return "", fmt.Errorf("go env: %w", err)
	}
	file := strings.TrimSpace(string(out))
	if filepath.Base(file) != "go.mod" {
		return "", fmt.Errorf("run it inside the module")
	}
	return filepath.Dir(file), nil
}

// tryLong runs the property with many changes, and shows what it says.
func tryLong(root string, changes int, seed uint64) error {
	if seed == 0 {
		var b [8]byte
		rand.Read(b[:]) // never fails: see its documentation
		seed = binary.BigEndian.Uint64(b[:]) >> 1
	}
	fmt.Printf("seed %d, %d changes\n", seed, changes)
	cmd := exec.Command("go", "test", "-count=1", "-timeout=6h", "-v", "-run", property, room, "-args",
		"-changes", fmt.Sprint(changes), "-seed", fmt.Sprint(seed))
	cmd.Dir, cmd.Stdout, cmd.Stderr = root, os.Stdout, os.Stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("the promise does not hold (%w); to see it again: scripts/noninterference -changes %d -seed %d", err, changes, seed)
	}
	return nil
}

// tryPlants builds the property once with all leaks in it, and runs it with none
// of them and with each.
func tryPlants(root string) error {
	folder, err := os.MkdirTemp("", "opencowl-plants-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	list, err := overlay(root, folder)
	if err != nil {
		return err
	}
	program := filepath.Join(folder, "planted.test")
	build := exec.Command("go", "test", "-c", "-vet=off", "-overlay", list, "-o", program, room)
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("the planted product does not build: %w\n%s", err, out)
	}
	if caught, out, err := tryPlant(root, program, "none"); caught || err != nil {
		return fmt.Errorf("with no leak chosen, the planted product breaks the promise: %v\n%s", err, out)
	}
	fmt.Printf("%-26s %-8s %s\n%-26s %-8s %s\n", "plant", "caught", "how it leaks", "none", "no", "as the product is")
	missed := 0
	for _, p := range plants() {
		caught, out, err := tryPlant(root, program, p.name)
		verdict := "yes"
		if !caught {
			verdict = "NO"
			missed++
		}
		fmt.Printf("%-26s %-8s %s\n", p.name, verdict, p.how)
		if !caught {
			fmt.Printf("%v\n%s\n", err, tail(out))
		}
	}
	if missed > 0 {
		return fmt.Errorf("%d of %d leaks were not caught", missed, len(plants()))
	}
	fmt.Printf("%d of %d leaks caught\n", len(plants()), len(plants()))
	return nil
}

// tryPlant runs the property with one leak. It is caught when the property says
// what left a trace; any other failure is none.
func tryPlant(root, program, name string) (caught bool, out []byte, err error) {
	cmd := exec.Command(program, "-test.run", property, "-test.timeout=20m", "-test.v")
	cmd.Dir = filepath.Join(root, filepath.FromSlash(room))
	// One thread, so that one workspace at a time tells the planted leaks.
	cmd.Env = append(os.Environ(), "OPENCOWL_PLANT="+name, "GOMAXPROCS=1")
	out, err = cmd.CombinedOutput()
	for _, t := range traces {
		caught = caught || err != nil && bytes.Contains(out, []byte(t))
	}
	return caught, out, err
}

func tail(out []byte) []byte { return out[max(0, len(out)-2000):] }

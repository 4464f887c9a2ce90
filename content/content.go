// Package content embeds what a new workspace is made from: the demonstration (an
// invented trust, its invented flying boat and one winter of work on it), and a
// start with nothing in it but settings to fill in.
//
// It promises that Demo is a whole workspace that passes its own checks. It
// must not know how any file in it is read.
package content

import (
	"embed"
	"io/fs"
)

//go:embed all:demo all:start
var embedded embed.FS

// Demo returns the demonstration workspace, rooted at its workshop.yaml.
func Demo() fs.FS { return below("demo") }

// Start returns a workspace with nothing in it but settings to fill in.
func Start() fs.FS { return below("start") }

func below(folder string) fs.FS {
	sub, err := fs.Sub(embedded, folder)
	if err != nil {
		panic(err) // both names are constants that fs.Sub accepts
	}
	return sub
}

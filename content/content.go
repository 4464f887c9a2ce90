// Package content embeds the demonstration workspace: an invented trust, its
// invented flying boat and one winter of work on it.
//
// It promises that Demo is a whole workspace that passes its own checks. It
// must not know how any file in it is read.
package content

import (
	"embed"
	"io/fs"
)

//go:embed all:demo
var embedded embed.FS

// Demo returns the demonstration workspace, rooted at its workshop.yaml.
func Demo() fs.FS {
	demo, err := fs.Sub(embedded, "demo")
	if err != nil {
		panic(err) // the name is a constant that fs.Sub accepts
	}
	return demo
}

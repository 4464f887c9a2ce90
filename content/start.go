package content

import (
	"embed"
	"io/fs"
)

//go:embed all:start
var start embed.FS

// Start returns a workspace with nothing in it but settings to fill in.
func Start() fs.FS {
	sub, err := fs.Sub(start, "start")
	if err != nil {
		panic(err) // the name is a constant that fs.Sub accepts
	}
	return sub
}

package photo

import (
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

// Row is a photo as a list shows it.
type Row struct {
	Photo   string   `json:"photo"` // its name
	File    string   `json:"file"`  // slash path in the workspace
	Tagged  bool     `json:"tagged"`
	Offered bool     `json:"offered"`
	Taken   string   `json:"taken,omitempty"`
	By      string   `json:"by,omitempty"`
	Parts   []string `json:"parts"`
	// Missing is what it still needs before it can be cleared.
	Missing []string `json:"missing"`
}

// List lists the photos of a workspace by name, with and without a tag.
func List(ws *workspace.Workspace) []Row {
	log, _ := worklog.Read(ws.Root, ws.Settings.AreaKeys(), ws.Settings.PeopleIDs())
	files, _ := reading.List(ws.Root, dir, "")
	var rows []Row
	for _, file := range files {
		if !worklog.IsPhoto(file) {
			continue
		}
		row := Row{Photo: path.Base(file), File: file, Parts: []string{}, Missing: []string{"a tag"}}
		if tag, tagged := log.Tag(row.Photo); tagged {
			row.Tagged, row.Offered, row.Taken, row.By = true, tag.Publish, tag.Taken.String(), tag.By
			row.Parts = append(row.Parts, tag.Parts...)
			row.Missing = Missing(tag)
		}
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(a, b Row) int { return strings.Compare(a.Photo, b.Photo) })
	return rows
}

// Missing lists what a tag still needs before its photo can be cleared, beside
// being offered.
func Missing(tag *worklog.Tag) []string {
	all := []string{}
	need := func(there bool, what string) {
		if !there && !slices.Contains(all, what) {
			all = append(all, what)
		}
	}
	need(len(tag.Parts) > 0, "parts")
	need(!tag.Taken.IsZero(), "taken")
	need(tag.By != "", "by")
	need(strings.TrimSpace(tag.Caption) != "", "caption")
	need(strings.TrimSpace(tag.Alt) != "", "alt")
	need(tag.Rights != "", "rights")
	for _, p := range tag.People {
		need(p.Consent == "given", "consent of "+p.Who)
		need(p.Adult != "no" || p.Guardian != "", "guardian of "+p.Who)
	}
	return all
}

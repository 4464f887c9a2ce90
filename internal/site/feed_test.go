package site

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"slices"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// feed is what a feed reader makes of a feed: the npm package feedparser.
type feed struct {
	Version, Title, Link, Description, Language, Self string

	Items []struct{ Title, Link, GUID, Date, Text string }

	Faults []string
}

func readFeed(t *testing.T, data []byte) feed {
	t.Helper()
	cmd := exec.Command(testtool.Need(t, "node"), "testdata/feed.cjs", testtool.NeedPackage(t, "feedparser"))
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	var f feed
	if err == nil {
		err = json.Unmarshal(out, &f)
	}
	if err != nil {
		t.Fatalf("feedparser: %v\n%s", err, out)
	}
	return f
}

// RSS 2.0 (rssboard.org/rss-specification): a channel has title, link and
// description; an item has a title or a description; a guid tells items apart.
func TestAFeedReaderReadsTheFeed(t *testing.T) {
	f := readFeed(t, built(t, fixture())["feed.xml"])
	if len(f.Faults) > 0 || f.Version != "rss 2.0" || f.Title != "Oystercatcher FO-7" || f.Link != "https://example.org/" || f.Description == "" || f.Language != "en-GB" || f.Self != "https://example.org/feed.xml" {
		t.Errorf("the channel is read as %+v", f)
	}
	var titles, guids []string
	for _, item := range f.Items {
		titles, guids = append(titles, item.Title), append(guids, item.GUID)
		if item.Link == "" || item.Link != item.GUID || item.Date == "" || item.Text == "" {
			t.Errorf("an item is read as %+v", item)
		}
	}
	if want := []string{"A rudder skin with too many holes", "Correction: The floor that rotted from inside", "A strip you could push a pick through", "The floor that rotted from inside", "Correction: The floor that rotted from inside", "The pump that never stopped"}; !slices.Equal(titles, want) {
		t.Errorf("items\n got %q\nwant %q", titles, want)
	}
	slices.Sort(guids)
	if n := len(guids); len(slices.Compact(guids)) != n {
		t.Errorf("two items have one guid: %q", guids)
	}
	if f := readFeed(t, []byte("<p>no feed</p>")); len(f.Faults) == 0 {
		t.Error("the reader takes a page for a feed")
	}
}

func TestWordsComeThroughTheFeedAsTheyWereWritten(t *testing.T) {
	a := fixture()
	f := story("signs", `Nuts & bolts <"3/8"> it’s 1 < 2`, cleared.Area{Key: "hull", Name: "Hull"}, "2031-02-28")
	f.CameOff, f.Failed, f.Replaced = "<b>Not bold</b> &amp; so on.", "", ""
	a.Stories = append(a.Stories, cleared.NewStory(f))
	item := readFeed(t, built(t, a)["feed.xml"]).Items[0]
	// A title is text and a description is HTML, by what readers do with them.
	if item.Title != `Nuts & bolts <"3/8"> it’s 1 < 2` || item.Text != "&lt;b&gt;Not bold&lt;/b&gt; &amp;amp; so on." {
		t.Errorf("read as %q, %q", item.Title, item.Text)
	}
}

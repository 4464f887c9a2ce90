package picture

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// listTags returns what exiftool finds in a file, by group and name, without
// what it says about the file system and what it works out for itself.
func listTags(t *testing.T, data []byte) map[string]string {
	t.Helper()
	for _, tags := range listAllTags(t, save(t, "copy.jpg", data)) {
		return tags
	}
	t.Fatal("exiftool lists no file")
	return nil
}

// listAllTags does it for a file, or for all files of a folder.
func listAllTags(t *testing.T, path string) map[string]map[string]string {
	t.Helper()
	out, err := exec.Command(testtool.Need(t, "exiftool"), "-json", "-a", "-G1", "-u", "-U", "-s", path).Output()
	if err != nil {
		t.Fatalf("exiftool: %v", err)
	}
	var lists []map[string]any
	if err := json.Unmarshal(out, &lists); err != nil || len(lists) == 0 {
		t.Fatalf("exiftool wrote %q: %v", out, err)
	}
	files := map[string]map[string]string{}
	for _, list := range lists {
		tags := map[string]string{}
		for name, value := range list {
			group, _, _ := strings.Cut(name, ":")
			if !slices.Contains([]string{"SourceFile", "ExifTool", "System", "Composite"}, group) {
				raw, _ := json.Marshal(value)
				tags[name] = strings.Trim(string(raw), `"`)
			}
		}
		files[list["SourceFile"].(string)] = tags
	}
	return files
}

// What every JPEG file says by being one.
var structure = []string{
	"File:FileType", "File:FileTypeExtension", "File:MIMEType", "File:ImageWidth", "File:ImageHeight",
	"File:EncodingProcess", "File:BitsPerSample", "File:ColorComponents", "File:YCbCrSubSampling",
}

// The IPTC reference picture of 2021.1 carries every field of the standard,
// among them the address of its maker and the place.
func TestNothingOfTheIPTCReferencePictureIsLeft(t *testing.T) {
	original := published(t, "github.com/bep/imagemeta", "testdata/images/IPTC-PhotometadataRef-Std2021.1.jpg")
	info, err := Inspect(original)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []Private{Position, Owner, Taken, Description, Comment} {
		if !slices.Contains(info.Private, want) {
			t.Errorf("Inspect does not name %q; got %q", want, info.Private)
		}
	}
	if found := listTags(t, original); len(found) < 100 {
		t.Fatalf("exiftool finds %d tags in the original, so that this test shows little", len(found))
	}
	words := Recipe{
		Alt:       "A thin metal strip on a bench, its lower edge eaten away.",
		Caption:   "Rot & rivets: <old> \"floor\" stiffener",
		Credit:    "Tam Reddle",
		Copyright: "© Marram Sound Flying Boat Trust",
	}
	want := map[string]string{
		"XMP-iptcCore:AltTextAccessibility": words.Alt,
		"XMP-dc:Description":                `Rot & rivets: <old> \"floor\" stiffener`,
		"XMP-dc:Creator":                    words.Credit,
		"XMP-photoshop:Credit":              words.Credit,
		"XMP-dc:Rights":                     words.Copyright,
		"XMP-xmpRights:Marked":              "true",
	}
	for _, c := range mustMake(t, original, words) {
		found := listTags(t, c.JPEG)
		for name, value := range want {
			value = strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(value, "&", `\u0026`), "<", `\u003c`), ">", `\u003e`)
			if found[name] != value {
				t.Errorf("%s: %s is %q, want %q", c.Use, name, found[name], value)
			}
			delete(found, name)
		}
		for _, name := range structure {
			delete(found, name)
		}
		for name, value := range found {
			t.Errorf("%s: exiftool finds %s, %s", c.Use, name, value)
		}
		if bytes.Contains(c.JPEG, []byte("ref2021.1")) {
			t.Errorf("%s holds a value of the original", c.Use)
		}
	}
}

func TestCopiesAreValidFiles(t *testing.T) {
	for _, c := range mustMake(t, asJPEG(t, hangar(500, 300)), Recipe{Alt: "a strip", Credit: "Tam Reddle"}) {
		file := filepath.Join(t.TempDir(), c.Name)
		if err := os.WriteFile(file, c.JPEG, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(testtool.Need(t, "exiftool"), "-validate", "-s3", file).CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != "OK" {
			t.Errorf("%s: exiftool -validate says %q, %v", c.Use, out, err)
		}
	}
}

func TestWithoutWordsThereIsNoPacket(t *testing.T) {
	for _, c := range mustMake(t, asJPEG(t, hangar(100, 80)), Recipe{}) {
		if bytes.Contains(c.JPEG, []byte("xmpmeta")) || bytes.Contains(c.JPEG, []byte{0xff, markAPP1}) {
			t.Errorf("%s has a packet with nothing to say", c.Use)
		}
	}
}

func TestWordsCannotBreakOutOfThePacket(t *testing.T) {
	hostile := "</rdf:li></rdf:Alt><photoshop:Source>x</photoshop:Source>\x00\x01\xff ]]> <?xpacket end='w'?>"
	c := copyFor(t, mustMake(t, asJPEG(t, hangar(100, 80)), Recipe{Alt: hostile, Credit: hostile}), cleared.Web400)
	found := listTags(t, c.JPEG)
	if _, broken := found["XMP-photoshop:Source"]; broken || found["XMP-photoshop:Credit"] == "" {
		t.Errorf("got %q", found)
	}
	if n := bytes.Count(c.JPEG, []byte("<?xpacket")); n != 2 {
		t.Errorf("got %d packet marks, want 2", n)
	}
}

// canary is put into every private place of an original.
const canary = "CANARY-7f3a"

// burdened returns a JPEG with private data in every place that a file has.
func burdened(t *testing.T, plain []byte) []byte {
	uncropped := string(asJPEG(t, noise(160, 120)))
	exif := exifBlock(binary.BigEndian, []field{
		{tag: 0x010e, text: canary}, {tag: 0x010f, text: canary}, {tag: tagOrientation, short: 1},
		{tag: tagArtist, text: canary},
		{tag: tagExif, sub: []field{{tag: tagMakerNote, text: canary}, {tag: tagBodySerial, text: canary}}},
		{tag: tagGPS, sub: []field{{tag: 1, text: "N"}, {tag: 29, text: canary}}},
	}, []field{{tag: 0x0201, short: 400}, {tag: 0x0202, short: uint16(len(uncropped))}}) + uncropped
	data := plain
	for _, s := range []struct {
		mark    byte
		payload string
	}{
		{markCOM, canary},
		{markAPPd, agencyHeader + "8BIM\x04\x04" + canary},
		{markAPP2, "MPF\x00" + canary},
		{0xe5, canary},
		{markAPP1, xmpHeader + "<exif:GPSLatitude>" + canary + "</exif:GPSLatitude>"},
		{markAPP1, "http://ns.adobe.com/xmp/extension/\x00" + canary},
		{markAPP1, exifHeader + exif},
		{markAPP0, "JFXX\x00\x10" + uncropped},
	} {
		data = withSegment(data, s.mark, s.payload)
	}
	return append(data, "PK\x03\x04"+canary+uncropped...)
}

func TestWhatAFileSaysOfItselfShapesNothing(t *testing.T) {
	jpegged := asJPEG(t, hangar(700, 500))
	pinged := asPNG(t, hangar(700, 500))
	noted := withChunk(withChunk(withChunk(pinged, "tEXt", "Comment\x00"+canary), "tIME", "\x07\xef\x01\x0e\x0a\x00\x00"), "eXIf",
		exifBlock(binary.LittleEndian, []field{{tag: tagArtist, text: canary}, {tag: tagGPS, sub: []field{{tag: 29, text: canary}}}}, nil))
	noted = append(append(noted, chunk("tEXt", canary)...), canary...)
	r := Recipe{Alt: "a strip", Hide: []Box{{0.1, 0.1, 0.2, 0.2}}}
	for _, tt := range []struct {
		name         string
		plain, heavy []byte
	}{{"JPEG", jpegged, burdened(t, jpegged)}, {"PNG", pinged, noted}} {
		want, got := mustMake(t, tt.plain, r), mustMake(t, tt.heavy, r)
		if names(got) != names(want) {
			t.Errorf("%s: two originals that differ in private data alone give different copies", tt.name)
		}
		for _, c := range got {
			if bytes.Contains(c.JPEG, []byte("CANARY")) {
				t.Errorf("%s: %s holds private data", tt.name, c.Use)
			}
		}
		info, err := Inspect(tt.heavy)
		if err != nil || !slices.Contains(info.Private, Position) || !slices.Contains(info.Private, Trailing) {
			t.Errorf("%s: Inspect gives %+v, %v; want the place and what follows the picture", tt.name, info, err)
		}
	}
}

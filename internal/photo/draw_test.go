package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"
)

func encode(t testing.TB, img image.Image) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 85}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

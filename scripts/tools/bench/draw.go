package main

import (
	"bufio"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
)

const photoWidth, photoHeight = 6000, 4000

// drawPhotos writes made-up photos, the same on every run, and returns their paths
// and how many bytes they have together. They have soft light, edges, texture and
// the grain of a sensor, since a decoder's work depends on how much there is to tell.
func drawPhotos(dir string) (photos []string, size int64, err error) {
	for i := range benchPhotos {
		photos = append(photos, filepath.Join(dir, fmt.Sprintf("photo-%02d.jpg", i)))
	}
	grain := grain()
	if err := atOnce(photos, func(name string) error { return drawPhoto(name, grain) }); err != nil {
		return nil, 0, err
	}
	for _, name := range photos {
		info, err := os.Stat(name)
		if err != nil {
			return nil, 0, err
		}
		size += info.Size()
	}
	return photos, size, nil
}

// grain is normal noise with a deviation of three levels.
func grain() []int8 {
	random := rand.New(rand.NewPCG(24, 1))
	values := make([]int8, 1<<20)
	for i := range values {
		values[i] = int8(math.Round(random.NormFloat64() * 3))
	}
	return values
}

func drawPhoto(name string, grain []int8) error {
	var seed uint64
	if _, err := fmt.Sscanf(filepath.Base(name), "photo-%d.jpg", &seed); err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(24, seed))
	light, sheets, texture := field(random, 900), field(random, 260), field(random, 9)
	img := image.NewYCbCr(image.Rect(0, 0, photoWidth, photoHeight), image.YCbCrSubsampleRatio420)
	for y := range photoHeight {
		at := random.IntN(len(grain) - photoWidth)
		light.row(y)
		sheets.row(y)
		texture.row(y)
		row := img.Y[y*img.YStride:][:photoWidth]
		for x := range row {
			sheet := int(sheets.at(x) * 6) // flat pieces with hard edges
			v := 40 + 110*light.at(x) + 12*float64(sheet) + 22*texture.at(x)
			row[x] = uint8(max(0, min(255, int(v)+int(grain[at+x]))))
			if x%2 == 0 && y%2 == 0 {
				c := img.COffset(x, y)
				img.Cb[c] = uint8(118 + 3*sheet + int(8*texture.at(x)))
				img.Cr[c] = uint8(122 + 20*((sheet+1)%3) + int(10*light.at(x)))
			}
		}
	}
	file, err := os.Create(name)
	if err != nil {
		return err
	}
	defer file.Close()
	out := bufio.NewWriter(file)
	if err := jpeg.Encode(out, img, &jpeg.Options{Quality: 92}); err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return err
	}
	return file.Close()
}

// waves is a field of values from 0 to 1 that change smoothly over a distance.
type waves struct {
	distance, across int
	points           []float64
	upper, lower     []float64 // the rows of points about the row that is drawn
	down             float64
}

func field(random *rand.Rand, distance int) *waves {
	w := &waves{distance: distance, across: photoWidth/distance + 2}
	w.points = make([]float64, w.across*(photoHeight/distance+2))
	for i := range w.points {
		w.points[i] = random.Float64()
	}
	return w
}

func (w *waves) row(y int) {
	i := y / w.distance
	w.upper, w.lower = w.points[i*w.across:], w.points[(i+1)*w.across:]
	w.down = float64(y%w.distance) / float64(w.distance)
}

func (w *waves) at(x int) float64 {
	i, right := x/w.distance, float64(x%w.distance)/float64(w.distance)
	a := w.upper[i] + (w.upper[i+1]-w.upper[i])*right
	b := w.lower[i] + (w.lower[i+1]-w.lower[i])*right
	return a + (b-a)*w.down
}

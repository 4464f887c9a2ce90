package picture

import (
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"math"
)

// space is what the three numbers of a pixel mean: a curve for each, and the
// colours of the three primaries in XYZ relative to D50, one row each for X, Y
// and Z. It is what an ICC profile of the matrix kind says (ICC.1:2022, 8.3.3).
type space struct {
	curves [3]func(float64) float64
	toXYZ  [3][3]float64
}

// spaceAdobe is Adobe RGB (1998): its gamma is 563/256, its primaries are given
// here adapted to D50 by the Bradford method, as published by Bruce Lindbloom.
var spaceAdobe = space{
	curves: [3]func(float64) float64{adobeCurve, adobeCurve, adobeCurve},
	toXYZ: [3][3]float64{
		{0.6097559, 0.2052401, 0.1492240},
		{0.3111242, 0.6256560, 0.0632197},
		{0.0194811, 0.0608902, 0.7448387},
	},
}

// spaceP3 is Display P3, with the curve of sRGB. The primaries are those of
// SMPTE EG 432-1 with white D65, adapted to D50 by the Bradford method.
var spaceP3 = space{
	curves: [3]func(float64) float64{srgbLinear, srgbLinear, srgbLinear},
	toXYZ: [3][3]float64{
		{0.5151187, 0.2919778, 0.1571035},
		{0.2411892, 0.6922441, 0.0665668},
		{-0.0010505, 0.0418791, 0.7840713},
	},
}

// xyzToSRGB brings XYZ relative to D50 to linear sRGB: the inverse of the sRGB
// primaries adapted by the Bradford method, as published by Bruce Lindbloom.
var xyzToSRGB = [3][3]float64{
	{3.1338561, -1.6168667, -0.4906146},
	{-0.9787684, 1.9161415, 0.0334540},
	{0.0719453, -0.2289914, 1.4052427},
}

func adobeCurve(v float64) float64 { return math.Pow(v, 563.0/256) }

// srgbLinear and srgbCoded are the curve of IEC 61966-2-1 and its inverse.
func srgbLinear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func srgbCoded(v float64) float64 {
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// conversion turns 8-bit pixels into sRGB. A nil one leaves them as they are.
type conversion struct {
	linear [3][256]float64 // what each value stands for
	matrix [3][3]float64   // to linear sRGB
	coded  []byte          // sRGB value of linear light, in steps of 1/(len-1)
}

// conversion makes the tables for a space, or nil where they would change
// nothing that can be seen: profiles of sRGB differ in the last digits.
func (s space) conversion() *conversion {
	c := conversion{coded: make([]byte, 1<<16)}
	for i := range c.coded {
		c.coded[i] = byte(math.Round(255 * srgbCoded(float64(i)/float64(len(c.coded)-1))))
	}
	for channel, curve := range s.curves {
		for i := range 256 {
			c.linear[channel][i] = clamp01(curve(float64(i) / 255))
		}
	}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				c.matrix[i][j] += xyzToSRGB[i][k] * s.toXYZ[k][j]
			}
		}
	}
	if c.changesNothing() {
		return nil
	}
	return &c
}

// changesNothing tries colours all over the cube, and finds none that moves by
// more than one step of 255.
func (c *conversion) changesNothing() bool {
	const step = 15
	for r := 0; r < 256; r += step {
		for g := 0; g < 256; g += step {
			for b := 0; b < 256; b += step {
				in := [3]byte{byte(r), byte(g), byte(b)}
				out := c.colour(in)
				for i := range in {
					if d := int(in[i]) - int(out[i]); d < -1 || d > 1 {
						return false
					}
				}
			}
		}
	}
	return true
}

// colour converts one pixel. What sRGB cannot show is cut off at its edge, as
// littlecms does for profiles of this kind.
func (c *conversion) colour(in [3]byte) (out [3]byte) {
	r, g, b := c.linear[0][in[0]], c.linear[1][in[1]], c.linear[2][in[2]]
	for i, m := range c.matrix {
		// The conversions keep a processor from joining the steps, which would
		// round otherwise on some machines than on others.
		v := float64(m[0]*r) + float64(m[1]*g) + float64(m[2]*b)
		out[i] = c.coded[int(clamp01(v)*float64(len(c.coded)-1)+0.5)]
	}
	return out
}

// apply converts a whole opaque picture where it stands.
func (c *conversion) apply(img *image.NRGBA) {
	if c == nil {
		return
	}
	for i := 0; i+4 <= len(img.Pix); i += 4 {
		p := img.Pix[i : i+4 : i+4]
		out := c.colour([3]byte{p[0], p[1], p[2]})
		p[0], p[1], p[2] = out[0], out[1], out[2]
	}
}

// clamp01 brings v into 0 to 1; what is not a number becomes 0.
func clamp01(v float64) float64 {
	if v >= 1 {
		return 1
	}
	if v > 0 {
		return v
	}
	return 0
}

// colours returns the conversion from the colours of the original to sRGB.
func (s *source) colours() (*conversion, error) {
	if s.profile == nil {
		if s.space == nil {
			return nil, nil
		}
		return s.space.conversion(), nil
	}
	sp, err := readProfile(s.profile)
	var refused *Error
	switch {
	case errors.As(err, &refused):
		return nil, refused
	case err != nil:
		return nil, &Error{
			Code:    Damaged,
			Message: "the colour profile in this picture cannot be read",
			Remedy:  "open it in a picture program and save it with sRGB colours",
			cause:   err,
		}
	}
	return sp.conversion(), nil
}

// maxTags is how many tags of a profile are looked at. Profiles have about 20.
const maxTags = 200

// profile is an ICC profile: its tags by signature.
type profile map[string][]byte

// readProfile reads an ICC profile of the matrix kind for RGB, or of the
// curve kind for grey. Names and layouts: ICC.1:2022.
func readProfile(data []byte) (space, error) {
	if len(data) < 132 || string(data[36:40]) != "acsp" {
		return space{}, errors.New("it has no profile header")
	}
	p, err := readTags(data)
	if err != nil {
		return space{}, err
	}
	const remedy = "save it with sRGB colours"
	switch kind := string(data[16:20]); {
	case kind == "CMYK":
		return space{}, inks()
	case kind != "RGB " && kind != "GRAY":
		return space{}, unsupported("the colours of this picture are neither RGB nor grey", remedy)
	case p["A2B0"] != nil || string(data[20:24]) != "XYZ ":
		return space{}, unsupported("the colour profile of this picture is a table (LUT), which is not read here", remedy)
	case kind == "GRAY":
		return p.grey()
	}
	return p.rgb()
}

// readTags reads the tag table (7.3), keeping within the bytes that are there.
func readTags(data []byte) (profile, error) {
	count := binary.BigEndian.Uint32(data[128:])
	if count > maxTags || len(data) < 132+12*int(count) {
		return nil, errors.New("its tag table is cut short")
	}
	p := profile{}
	for i := range int(count) {
		row := data[132+12*i:]
		at, size := uint64(binary.BigEndian.Uint32(row[4:])), uint64(binary.BigEndian.Uint32(row[8:]))
		if at+size > uint64(len(data)) {
			return nil, fmt.Errorf("its tag %d is cut short", i)
		}
		p[string(row[:4])] = data[at : at+size]
	}
	return p, nil
}

// rgb reads the three primaries and their curves.
func (p profile) rgb() (s space, err error) {
	for i, letter := range []string{"r", "g", "b"} {
		xyz := p[letter+"XYZ"]
		if len(xyz) < 20 || string(xyz[:4]) != "XYZ " {
			return space{}, errors.New("it lacks a primary")
		}
		for row := range 3 {
			s.toXYZ[row][i] = fixed(xyz[8+4*row:])
		}
		if s.curves[i], err = readCurve(p[letter+"TRC"]); err != nil {
			return space{}, err
		}
	}
	return s, nil
}

// grey reads the one curve of a grey profile. With the primaries of sRGB equal
// numbers stay equal, which is all that grey needs.
func (p profile) grey() (space, error) {
	curve, err := readCurve(p["kTRC"])
	if err != nil {
		return space{}, err
	}
	return space{
		curves: [3]func(float64) float64{curve, curve, curve},
		// Published by Bruce Lindbloom: sRGB adapted to D50 by the Bradford method.
		toXYZ: [3][3]float64{
			{0.4360747, 0.3850649, 0.1430804},
			{0.2225045, 0.7168786, 0.0606169},
			{0.0139322, 0.0971045, 0.7141733},
		},
	}, nil
}

// fixed reads an s15Fixed16Number (4.6).
func fixed(b []byte) float64 { return float64(int32(binary.BigEndian.Uint32(b))) / 65536 }

// readCurve reads a curveType (10.6) or a parametricCurveType (10.18).
func readCurve(tag []byte) (func(float64) float64, error) {
	if len(tag) >= 12 {
		switch string(tag[:4]) {
		case "curv":
			return sampledCurve(tag)
		case "para":
			return formulaCurve(tag)
		}
	}
	return nil, errors.New("it lacks a curve")
}

// sampledCurve: no entry is a straight line, one is a gamma (u8Fixed8Number),
// more are points at equal distances.
func sampledCurve(tag []byte) (func(float64) float64, error) {
	count := binary.BigEndian.Uint32(tag[8:])
	points := tag[12:]
	if uint64(count)*2 > uint64(len(points)) {
		return nil, errors.New("a curve is cut short")
	}
	at := func(i int) float64 { return float64(binary.BigEndian.Uint16(points[2*i:])) }
	switch count {
	case 0:
		return func(v float64) float64 { return v }, nil
	case 1:
		gamma := at(0) / 256
		return func(v float64) float64 { return math.Pow(v, gamma) }, nil
	}
	last := int(count) - 1
	return func(v float64) float64 {
		place := clamp01(v) * float64(last)
		i := min(int(place), last-1)
		return (at(i) + (at(i+1)-at(i))*(place-float64(i))) / 65535
	}, nil
}

// formulaCurve: five forms (table 68), each with more numbers than the last.
func formulaCurve(tag []byte) (func(float64) float64, error) {
	counts := [...]int{1, 3, 4, 5, 7}
	form := binary.BigEndian.Uint16(tag[8:])
	if int(form) >= len(counts) || len(tag) < 12+4*counts[form] {
		return nil, errors.New("a curve is cut short")
	}
	var n [7]float64
	for i := range counts[form] {
		n[i] = fixed(tag[12+4*i:])
	}
	gamma, a, b, c, d, e, f := n[0], n[1], n[2], n[3], n[4], n[5], n[6]
	power := func(v float64) float64 { return math.Pow(a*v+b, gamma) }
	switch form {
	case 0:
		return func(v float64) float64 { return math.Pow(v, gamma) }, nil
	case 1, 2:
		return func(v float64) float64 { // c is 0 in form 1
			if a*v+b < 0 {
				return c
			}
			return power(v) + c
		}, nil
	}
	return func(v float64) float64 { // e and f are 0 in form 3
		if v < d {
			return c*v + f
		}
		return power(v) + e
	}, nil
}

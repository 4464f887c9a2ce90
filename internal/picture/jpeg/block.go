package jpeg

// plane is where the samples of one component go.
type plane struct {
	pix    []byte
	stride int

	// Each pixel stands for left × down coded samples, of which width × height
	// are inside the picture.
	left, down    int
	width, height int
}

// maxSymbol is the most bits that a Huffman code found in the look-up table and
// the number after it take together.
const maxSymbol = lutSize + 15

// decodeBlock reads one block of a sequential picture (section F.2.2) into b, in
// natural order and multiplied by the quantization table. rows has a bit for each
// row of b that is not all zero.
func (d *decoder) decodeBlock(b *block, dc *int32, dcHuff, acHuff *huffman, qt *block) (rows uint8, err error) {
	*b = block{}
	d.refill()
	value, err := d.decodeHuffman(dcHuff)
	if err != nil {
		return 0, err
	}
	if value > 16 {
		return 0, UnsupportedError("excessive DC component")
	}
	delta, err := d.receiveExtend(value)
	if err != nil {
		return 0, err
	}
	*dc += delta
	b[0] = *dc * qt[0]
	rows = 1

	// Decode the AC coefficients, as specified in section F.2.2.2.

	// Runs over blocks are for progressive pictures. image/jpeg follows them here
	// too, and so must this.
	if d.eobRun > 0 {
		d.eobRun--
		return rows, nil
	}
	if acHuff.nCodes == 0 {
		return 0, errNoTable
	}
	for zig := 1; zig < blockSize; zig++ {
		if d.bits.n < maxSymbol {
			d.refill()
		}
		if v := acHuff.lut[uint8(d.bits.a>>uint8(d.bits.n-lutSize))]; d.bits.n >= maxSymbol && v != 0 {
			// All bits of the code and of the number after it are there.
			d.bits.n -= int32(v&0xff) - 1
			value = uint8(v >> 8)
		} else if value, err = d.decodeHuffman(acHuff); err != nil {
			return 0, err
		}
		skip, size := int(value>>4), value&0x0f
		if size == 0 {
			if skip == 0x0f {
				zig += skip
				continue
			}
			run, err := d.decodeBits(int32(skip))
			if err != nil {
				return 0, err
			}
			d.eobRun = uint16(1<<skip|run) - 1
			break
		}
		if zig += skip; zig >= blockSize {
			break
		}
		var ac int32
		if d.bits.n >= int32(size) {
			d.bits.n -= int32(size)
			ac = extend(d.bits.a>>uint8(d.bits.n), size)
		} else if ac, err = d.receiveExtend(size); err != nil {
			return 0, err
		}
		u := unzig[zig]
		b[u] = ac * qt[zig]
		rows |= 1 << uint8(u>>3)
	}
	return rows, nil
}

// store performs the inverse DCT and stores the block to the image. rows has a
// bit for each row of b that may hold anything but zeros.
func (d *decoder) store(b *block, rows uint8, bx, by, compIndex int) {
	p := &d.plane[compIndex]
	width, height := p.width-8*bx, p.height-8*by
	if width <= 0 || height <= 0 {
		return // coded, but beyond the edge of the picture
	}
	at := by*8/p.down*p.stride + bx*8/p.left
	dst := p.pix[at:]
	if rows == 1 && b[1]|b[2]|b[3]|b[4]|b[5]|b[6]|b[7] == 0 {
		// What idct makes of a block that is the same all over.
		flat := clip((b[0]<<17 + 1<<19) >> 20)
		for y := range 8 / p.down {
			row := dst[y*p.stride:][: 8/p.left : 8/p.left]
			for x := range row {
				row[x] = flat
			}
		}
		return
	}
	idct(b, rows)
	switch {
	case p.left == 1 && p.down == 1:
		for y := range 8 {
			row, from := dst[y*p.stride:][:8:8], b[8*y:][:8:8]
			for x := range 8 {
				row[x] = clip(from[x])
			}
		}
	case p.left == 2 && p.down == 2 && width >= 8 && height >= 8:
		for y := range 4 {
			row, from := dst[y*p.stride:][:4:4], b[16*y:][:16:16]
			for x := range 4 {
				sum := uint(clip(from[2*x])) + uint(clip(from[2*x+1])) + uint(clip(from[2*x+8])) + uint(clip(from[2*x+9]))
				row[x] = uint8((sum + 1 + sum/4&1) / 4)
			}
		}
	default:
		p.average(dst, b, min(width, 8), min(height, 8))
	}
}

// average stores the means of the part of a block that is inside the picture.
func (p *plane) average(dst []byte, b *block, width, height int) {
	for y := 0; y < height; y += p.down {
		for x := 0; x < width; x += p.left {
			sum, count := 0, 0
			for v := y; v < min(y+p.down, height); v++ {
				for u := x; u < min(x+p.left, width); u++ {
					sum += int(clip(b[8*v+u]))
					count++
				}
			}
			dst[y/p.down*p.stride+x/p.left] = uint8(rounded(sum, count))
		}
	}
}

// rounded is sum ÷ count to the nearest whole number, and halfway to the even one:
// always rounding up would make every component an eighth of a level larger when
// four are averaged, which red and blue show twice over.
func rounded(sum, count int) int {
	n, rest := sum/count, sum%count
	if 2*rest > count || 2*rest == count && n%2 == 1 {
		n++
	}
	return n
}

// clip shifts a sample by 128 and brings it into 0 to 255.
func clip(c int32) uint8 {
	if c += 128; uint32(c) <= 255 {
		return uint8(c)
	} else if c < 0 {
		return 0
	}
	return 255
}

package pixels

const (
	blockEdge   = 16  // px
	chunkBlocks = 256 // blocks that are allocated at once
)

// patchBlocks keep what the patches of tiles show. Patches of neighbours overlap, so that the
// pictures are kept as blocks, once however many patches share one, and only while one does.
// The zero value is ready for use.
type patchBlocks struct {
	cols   int
	frames []blockIndex
	chunks [][]uint8 // of chunkBlocks blocks each
	free   []int32   // blocks that are in no use
}

// A blockIndex says where the blocks of a frame are kept: by place, the number of the block and
// 1; 0 where it is not kept. It is nil where none is.
type blockIndex []int32

// keep takes in the last frame, and the patches as they are now, of the given side. The frames
// whose patches are others than before are marked.
func (k *patchBlocks) keep(p *analysedPicture, patches []patch, side int, changed []bool) {
	k.cols = (p.w + blockEdge - 1) / blockEdge
	rows := (p.h + blockEdge - 1) / blockEdge
	k.frames = append(k.frames, nil)
	last := len(k.frames) - 1
	used := make([]bool, k.cols*rows)
	for f := range k.frames {
		if !changed[f] {
			continue
		}
		any := mark(used, k.cols, patches, f, side)
		if f < last {
			k.release(f, used, any)
		} else if any {
			k.frames[f] = k.copied(p, used)
		}
	}
}

// mark marks the blocks that the patches in a frame show, and reports whether there are any.
func mark(used []bool, cols int, patches []patch, frame, side int) (any bool) {
	clear(used)
	for _, q := range patches {
		if q.frame != frame || q.energy == 0 {
			continue
		}
		any = true
		for v := q.y / blockEdge; v <= (q.y+side-1)/blockEdge; v++ {
			for u := q.x / blockEdge; u <= (q.x+side-1)/blockEdge; u++ {
				used[v*cols+u] = true
			}
		}
	}
	return any
}

// release gives up the blocks of a frame that are not used.
func (k *patchBlocks) release(frame int, used []bool, any bool) {
	at := k.frames[frame]
	for i, n := range at {
		if n > 0 && !used[i] {
			k.free = append(k.free, n-1)
			at[i] = 0
		}
	}
	if !any {
		k.frames[frame] = nil
	}
}

// copied copies the blocks of a picture that are used.
func (k *patchBlocks) copied(p *analysedPicture, used []bool) blockIndex {
	at := make(blockIndex, len(used))
	for i, u := range used {
		if !u {
			continue
		}
		if len(k.free) == 0 {
			k.grow()
		}
		at[i] = k.free[len(k.free)-1] + 1
		k.free = k.free[:len(k.free)-1]
	}
	for y := range p.h {
		row := p.row(y)
		for u, n := range at[y/blockEdge*k.cols:][:k.cols] {
			if n > 0 {
				copy(k.block(n - 1)[y%blockEdge*blockEdge:][:blockEdge], row[u*blockEdge:])
			}
		}
	}
	return at
}

func (k *patchBlocks) grow() {
	first := int32(len(k.chunks) * chunkBlocks)
	k.chunks = append(k.chunks, make([]uint8, chunkBlocks*blockEdge*blockEdge))
	for i := int32(chunkBlocks) - 1; i >= 0; i-- { // the first is taken first
		k.free = append(k.free, first+i)
	}
}

func (k *patchBlocks) block(n int32) []uint8 {
	return k.chunks[n/chunkBlocks][n%chunkBlocks*blockEdge*blockEdge:][:blockEdge*blockEdge]
}

// read returns what a patch shows, row by row.
func (k *patchBlocks) read(q patch, side int) []uint8 {
	out := make([]uint8, side*side)
	at := k.frames[q.frame]
	for row := range side {
		y := q.y + row
		for x := q.x; x < q.x+side; {
			n := blockEdge - x%blockEdge // up to the end of the block
			block := k.block(at[y/blockEdge*k.cols+x/blockEdge] - 1)
			copy(out[row*side+x-q.x:(row+1)*side], block[y%blockEdge*blockEdge+x%blockEdge:][:n])
			x += n
		}
	}
	return out
}

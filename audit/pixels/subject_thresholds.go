package pixels

// Parts of the subject that move by themselves. Lengths are pixels of the small picture, of
// which the long side has some 256: one is about 6 px of a picture 1,600 wide.
const (
	// A part moves from subjectLeast on, and subjectTimes the median of all sharp blocks. Of
	// 145 links of six scenes on rails two adjoining blocks lay apart by up to 0.46, and 6.7
	// times that median; of 94 of other scenes by up to 0.18, and 4.4.
	subjectLeast, subjectTimes = 0.2, 8
	// A link over which that makes the limit longer than subjectMost, some 4 px of a picture
	// 1,600 wide, is not judged.
	subjectMost = 0.6
	// It also moves by subjectOwn times what its own shift varies by over the links around:
	// where focus stands, over subjectNear of them on either side, as the block is as sharp in
	// all. Four links give a poor measure of noise: one block in 70 exceeds three times their
	// second largest by chance, but one in 300,000 that of sixteen.
	subjectOwn, subjectNear = 3, 8
	// It moves by subjectTexture times the median of all sharp blocks, both as multiples of the
	// deviations that their textures give them. On seeds 18004 to 18036, even, two adjoining
	// blocks of 74 clean runs reached 4.2, those of parts that move 5.3 and more.
	subjectTexture = 5
	// A link is judged where subjectBlocks are sharp on both sides of it, and the run where
	// subjectShown of its links are.
	subjectBlocks, subjectShown = 4, 0.5
	// A block is sharp where subjectSharp of its sharpness is of tiles at half their height
	// and more.
	subjectSharp = 0.7
	// Blocks that lie elsewhere over the links around, by subjectParallax, show by how much
	// longer or shorter the step of focus is.
	subjectParallax = 0.1
	// Blocks move together from subjectTogether adjoining ones on, whose directions have a
	// cosine of subjectAlike: 37°.
	subjectTogether, subjectAlike = 2, 0.8
	// It is sure from subjectSure on: before subjectTexture was asked, each of six clean runs in
	// 74 that were found had two, of 46 parts 37 had three and more.
	subjectSure = 3
)

// Package pixels measures pictures of a sequence: picture in, numbers out. It
// knows no files, no capture data and no rules.
//
// [Measure] measures one picture and keeps under 1 MB of it: sharpness,
// brightness and clipping on a grid of small cells, and a small picture for
// registration. A [Sequence] takes these measures frame by frame, in the order
// the frames were made, and keeps some 50 KB of each; [Sequence.Judge] answers
// what the pictures can prove about the run. Each answer is found, fine, or
// cannot tell with the reason ([Verdict]).
//
// # Words
//
// "px" is a pixel of the analysed picture, which is the given one reduced by a
// whole factor so that its long side is about 1,600 px ([FrameMeasure.Factor]).
// A link is the way from one frame to the next. A tile is a square of about
// 32 px of the first frame, followed through the sequence.
//
// # Focus measure
//
// The squared modified Laplacian (Nayar and Nakagawa, "Shape from focus",
// IEEE TPAMI 16(8), 1994, without their threshold, squared), on the picture
// binned 2x2:
//
//	m = |2B(x,y) - B(x-1,y) - B(x+1,y)| + |2B(x,y) - B(x,y-1) - B(x,y+1)|
//	E = mean of m² over the cell
//
// Binning is the noise reduction; Pertuz, Puig and Garcia (Pattern Recognition
// 46(5), 2013, doi:10.1016/j.patcog.2012.11.011) compare operators under noise.
// The peak of a tile's curve is found by a parabola through ln E, which is the
// Gaussian interpolation of the first paper.
//
// # Registration
//
// Consecutive small pictures are aligned by iteratively reweighted Gauss-Newton
// steps on a pyramid (Baker and Matthews, "Lucas-Kanade 20 years on", IJCV
// 56(3), 2004) over scale, rotation, shift, gain and offset. Focusing changes
// the scale of the picture or, on rails and microscopes, shifts it a little;
// both are proportional to the focus step, which makes them the evidence for
// missing frames, stalls and wrong order. Where neither shows enough, steps are
// measured a second way, by where the sharpness curves of all tiles fit best, and
// the two are joined by their variances: alone, curves raise alarms where none is due.
//
// # Determinism
//
// The same pictures give the same numbers, whatever the number of workers.
package pixels

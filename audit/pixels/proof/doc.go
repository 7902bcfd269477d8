// Package proof makes pictures of sequences, to be viewed only: pictures in, one
// picture out. It knows no files, no capture data and no rules.
//
// [Focus] merges a focus sequence to a picture that is sharp wherever one of the frames
// is, and draws a map of the frame in which each place is sharpest. [Fusion] merges an
// exposure bracket. [Strip] lays frames of a time-lapse side by side. [Best] orders the
// frames of a burst by sharpness, and [Sharpest] finds the place of a frame that is worth
// inspecting at 100 %.
//
// Frames are lined up by the registration that audit/pixels measured ([RunOf]). Pictures
// come one at a time, in the order of the run, and none is kept: memory does not grow
// with the number of frames.
//
// # Method
//
// Pictures are merged band by band in a Laplacian pyramid (Burt and Adelson, "The
// Laplacian pyramid as a compact image code", IEEE Transactions on Communications 31(4),
// 1983; Ogden, Adelson, Bergen and Burt, "Pyramid-based computer graphics", RCA Engineer
// 30(5), 1985). Each band is a weighted mean of the frames. The weights of a focus
// sequence are a power of the local energy of fine detail; those of a bracket are those
// of Mertens, Kautz and Van Reeth, "Exposure fusion", Pacific Graphics 2007.
//
// "px" is a pixel of the analysed picture, as in audit/pixels.
package proof

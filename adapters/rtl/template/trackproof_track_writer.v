// A wrapper to be filled: the ports between trackproof and your track writer. ../wrapper.md says what
// each of them means and when it is looked at.
//
// A port that is not there is a capability that your core lacks. As it stands the wrapper compiles and
// has none. Take the marks of comment from what yours has; the first two groups have to be there for
// anything to be judged.
module trackproof_track_writer (
    // Cells with the gate out.
    // input  wire        cell_begin,
    // output wire        write_gate,
    // output wire        write_bit,

    // Writes and the FIFO.
    // input  wire        request,
    // input  wire [31:0] words,
    // input  wire [1:0]  start,          // 0 at once, 2 at the index
    // input  wire        offer,
    // input  wire [63:0] word,
    // output wire        word_taken,
    // output wire        busy,

    // The rest.
    // input  wire        cell_end,
    // input  wire        index,
    // input  wire        write_protected,
    // input  wire        abort_transfer,
    // input  wire        host_reset,
    // output wire        done,

    input  wire        clock,
    input  wire        reset
);
    // your_core core (.clk(clock), .rst(reset), ...);
endmodule

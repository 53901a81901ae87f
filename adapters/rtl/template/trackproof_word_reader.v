// A wrapper to be filled: the ports between trackproof and your word reader. ../wrapper.md says what
// each of them means and when it is looked at.
//
// A port that is not there is a capability that your core lacks: its cases are skipped and counted.
// As it stands the wrapper compiles and has none. Take the marks of comment from what yours has.
module trackproof_word_reader (
    // Channel bits in; without the FIFO below, words out.
    // input  wire        bit_strobe,
    // input  wire        bit_in,
    // output wire        word_valid,
    // output wire [63:0] word,           // the first channel bit of a word of W is bit W - 1

    // Requests and the FIFO.
    // input  wire        request,
    // input  wire [31:0] words,
    // input  wire [1:0]  start,          // 0 at once, 1 at a match, 2 at the index
    // output wire        accepted,
    // input  wire        service,
    // output wire        done,
    // output wire        refused,        // start_busy = error only
    // input  wire        abort_transfer,
    // input  wire        index,

    // Hardware sync.
    // input  wire        hardware_sync_write,
    // input  wire        hardware_sync,
    // input  wire        sync_word_write,
    // input  wire [63:0] sync_word,
    // input  wire        source_changed,
    // output wire        match,          // flag = event only

    // What the host reads.
    // input  wire        poll_status,
    // output wire        status_done,
    // output wire        status_busy,
    // output wire        status_error,
    // output wire        status_match,
    // input  wire        poll_byte,
    // output wire [7:0]  byte_value,
    // output wire        byte_fresh,

    // input  wire        host_reset,

    input  wire        clock,
    input  wire        reset
);
    // your_core core (.clk(clock), .rst(reset), ...);
endmodule

// Records the sample track writer at its drive lines: a write of a sector, as a value change dump.
// Compile with the files of ../sample; the plusarg +recording=FILE says where the dump goes.
`timescale 1ns / 1ns
module bench;
    localparam CLOCKS = 20;             // of 100 ns, a channel bit: 2 us
    localparam BYTES = 20 + 12 + 3 + 1 + 256 + 4;

    reg clock = 1'b0, reset = 1'b1;
    always #50 clock = ~clock;

    // The lines as they are on the cable: asserted low.
    reg select_n = 1'b1, side_n = 1'b1, direction_n = 1'b1, step_n = 1'b1;
    wire write_gate_n, write_data_n;

    // A channel bit's time, and the strobes of wrapper.md in it.
    integer phase = 0, next = 0;
    reg cell_begin = 1'b0, cell_end = 1'b0, offer = 1'b0, request = 1'b0, taken = 1'b0;
    reg [63:0] word = 64'd0;
    wire write_gate, write_bit, word_taken, busy, done;

    trackproof_track_writer writer (
        .clock(clock), .reset(reset), .cell_begin(cell_begin), .cell_end(cell_end), .index(1'b0),
        .write_gate(write_gate), .write_bit(write_bit), .request(request), .words(BYTES),
        .start(2'd0), .offer(offer), .word(word), .word_taken(word_taken),
        .abort_transfer(1'b0), .host_reset(1'b0), .busy(busy), .done(done)
    );

    // The pulse of a 1 stands at the middle of its cell; write data is 0.4 us of it.
    assign write_gate_n = !write_gate;
    assign write_data_n = !(write_gate && write_bit && phase >= 10 && phase < 14);

    // Data below; a 1 above leaves out the clock bit before that data bit: 04A1 is the mark A1.
    function [15:0] byte_of(input integer place);
        if (place < 20) byte_of = 16'h004e;
        else if (place < 32) byte_of = 16'h0000;
        else if (place < 35) byte_of = 16'h04a1;
        else if (place < 36) byte_of = 16'h00fb;
        else if (place < 292) byte_of = {8'd0, place[7:0] - 8'd36};
        else byte_of = 16'h004e;
    endfunction

    always @(posedge clock) begin
        phase <= phase == CLOCKS - 1 ? 0 : phase + 1;
        cell_begin <= phase == CLOCKS - 1;
        cell_end <= phase == CLOCKS - 3;
        offer <= phase == 3 && busy && next < BYTES;
        word <= {48'd0, byte_of(next)};
        taken <= word_taken;
        if (word_taken && !taken)
            next <= next + 1;
    end

    reg [1023:0] file;
    initial begin
        if (!$value$plusargs("recording=%s", file))
            file = "recording.vcd";
        $dumpfile(file);
        $dumpvars(1, bench);
        #1000 reset = 1'b0;
        #9000 select_n = 1'b0;
        // The head moves a track inwards, and settles.
        #1000 direction_n = 1'b0;
        #2000 step_n = 1'b0;
        #2000 step_n = 1'b1;
        #15000000;
        @(posedge clock) request <= 1'b1;
        @(posedge clock) request <= 1'b0;
        @(posedge done);
        #100000 select_n = 1'b1;
        #10000 $finish;
    end
endmodule
